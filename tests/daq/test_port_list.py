"""Which ports answer as a rig."""

from __future__ import annotations

import os
import threading
import tty

import pytest

from daq.port_list import ask_port, line_of_text
from tests.daq.test_survey import a_rig


def test_a_rig_names_itself_and_the_port_is_free_again() -> None:
    with a_rig() as port:
        first, second = ask_port(port), ask_port(port)

    assert first.rig == second.rig == "virtual bench V-0001, 1000 samples a second"


def test_a_port_without_a_rig_says_that_it_is_silent() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    answer = ask_port(os.ttyname(slave))
    os.close(master)
    os.close(slave)

    assert answer.rig is None
    assert "nothing heard" in (answer.why_not or "")


def test_a_port_that_is_not_there_says_so() -> None:
    assert "no such port" in (ask_port("/dev/tty-of-nobody").why_not or "")


def test_a_port_that_prints_lines_says_so_with_an_example() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    stop = threading.Event()

    def chatter() -> None:
        while not stop.wait(0.02):
            os.write(master, b"1234,5.25,0.5\r\n")

    speaker = threading.Thread(target=chatter)
    speaker.start()
    answer = ask_port(os.ttyname(slave))
    stop.set()
    speaker.join()
    os.close(master)
    os.close(slave)

    assert answer.rig is None
    assert answer.why_not == "prints lines of text at 921600 Bd, e.g. '1234,5.25,0.5'; use --profile"


@pytest.mark.parametrize(
    ("received", "line"),
    [
        pytest.param(b"5\r\n1,2\r\n3,", "1,2", id="a whole line between two halves"),
        pytest.param(b"\n1 2\n3 4\n", "3 4", id="the newest"),
        pytest.param(b"\nhello\n", None, id="no number"),
        pytest.param(b"\xff\n1,2\n", None, id="noise before"),
        pytest.param(b"1,2", None, id="no line end"),
    ],
)
def test_text_is_told_from_noise(received: bytes, line: str | None) -> None:
    assert line_of_text(received) == line
