"""The operator's lines: taken as they come, obeyed once whole, and never waited for."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from rig.virtual.operator import Operator


class Heard:
    """An operator at a pipe; keeps what was to be obeyed and what was answered."""

    def __init__(self, end: int) -> None:
        self.lines: list[str] = []
        self.answers: list[str] = []
        self.operator = Operator(end, self._obey, self.answers.append)

    def _obey(self, line: str) -> str:
        self.lines.append(line)
        return f"ok {line}"


@pytest.fixture
def pipe() -> Iterator[tuple[Heard, int]]:
    end, other_end = os.pipe()
    try:
        with os.fdopen(other_end, "wb", buffering=0) as speaking:
            yield Heard(end), speaking.fileno()
    finally:
        os.close(end)


def test_nobody_waits_for_an_operator_who_says_nothing(pipe: tuple[Heard, int]) -> None:
    heard, _ = pipe

    heard.operator.attend()

    assert heard.lines == []


def test_a_line_is_obeyed_when_its_end_has_come(pipe: tuple[Heard, int]) -> None:
    heard, speaks = pipe
    os.write(speaks, b"pan m20\nunder st")
    heard.operator.attend()
    assert heard.lines == ["pan m20"]

    os.write(speaks, b"op\n\n")
    heard.operator.attend()

    assert heard.lines == ["pan m20", "under stop", ""]
    assert heard.answers == ["ok pan m20", "ok under stop", "ok "]


def test_bytes_that_are_no_text_are_a_line_like_any_other(pipe: tuple[Heard, int]) -> None:
    heard, speaks = pipe
    os.write(speaks, b"pan \xff\n")

    heard.operator.attend()

    assert heard.lines == ["pan \ufffd"]


def test_after_the_end_of_the_input_the_last_words_count_and_nothing_is_read_again() -> None:
    end, other_end = os.pipe()
    heard = Heard(end)
    os.write(other_end, b"drift 0\npan")
    os.close(other_end)

    heard.operator.attend()
    heard.operator.attend()
    os.close(end)
    heard.operator.attend()  # a closed descriptor would be an error if it were asked again

    assert heard.lines == ["drift 0", "pan"]


@pytest.fixture
def terminal() -> Iterator[tuple[Heard, int]]:
    master, slave = os.openpty()
    yield Heard(slave), master
    os.close(master)
    os.close(slave)


def test_a_terminal_that_somebody_holds_for_us_is_heard(terminal: tuple[Heard, int]) -> None:
    heard, master = terminal
    os.write(master, b"pan\n")

    heard.operator.attend()

    assert heard.lines == ["pan"]


def test_in_the_background_of_a_terminal_nothing_is_read(
    terminal: tuple[Heard, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading there would stop the program (POSIX: SIGTTIN to a background process group)."""
    heard, master = terminal
    os.write(master, b"ls\n")
    monkeypatch.setattr(os, "tcgetpgrp", lambda _: os.getpgrp() + 1)

    heard.operator.attend()
    assert heard.lines == []

    monkeypatch.undo()
    heard.operator.attend()
    assert heard.lines == ["ls"]
