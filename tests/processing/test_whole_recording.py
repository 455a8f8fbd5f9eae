"""A recording measured by one process and by several: nothing but the time may differ."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest

from processing.keyboard import KeyboardResult
from processing.settings import Settings
from processing.views import measure_view
from processing.whole_recording import analyse_file
from recordings.errors import MalformedRecording
from recordings.keys import Key
from recordings.reader import open_recording
from recordings.writer import write_recording
from tests.builders import QUICK, WHOLE_RECORD, Press, SyntheticKey, a_header, a_recording

KEYS = tuple(Key(number) for number in range(40, 46))


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "r.h5"
    pressed = ((key, Press(strokes=2, seed=key.number), 0.4 + 0.02 * n) for n, key in enumerate(KEYS))
    write_recording(
        path, a_header(), (a_recording(SyntheticKey(down=down), how, name=key) for key, how, down in pressed)
    )
    return path


class Fatal(Settings):
    """Settings that no worker survives: to read them there is to end there."""

    def __reduce__(self) -> tuple[Callable[[int], object], tuple[int]]:
        return os._exit, (3,)


def measured(path: Path, workers: int | None, settings: Settings = QUICK) -> KeyboardResult:
    with open_recording(path) as opened:
        return analyse_file(opened, settings, keys=KEYS[1:], record=WHOLE_RECORD, workers=workers)


def test_two_processes_find_what_one_finds(path: Path) -> None:
    alone, together = measured(path, 1), measured(path, 2)

    assert measure_view(together) == measure_view(alone)
    for ours, theirs in zip(together.keys, alone.keys, strict=True):
        for curve, same in zip((ours.curve, *ours.stroke_curves), (theirs.curve, *theirs.stroke_curves), strict=True):
            assert curve is not None
            assert same is not None
            assert np.array_equal(curve.down_newton, same.down_newton)
            assert not curve.down_newton.flags.writeable


def test_a_fault_of_the_file_is_told_alike_by_one_process_and_by_two(path: Path, tmp_path: Path) -> None:
    spoiled = tmp_path / "spoiled.h5"
    spoiled.write_bytes(path.read_bytes())
    with h5py.File(spoiled, "r+") as file:
        del file["entry/key_43/tick_us"]
        file["entry/key_43/tick_us"] = np.zeros(3, np.int64)
    told = []
    for workers in (1, 2):
        with pytest.raises(MalformedRecording) as raised:
            measured(spoiled, workers)
        told.append(str(raised.value))

    assert told[0] == told[1]


def test_workers_that_die_cost_nothing_but_time(path: Path) -> None:
    fatal = Fatal(**{name: getattr(QUICK, name) for name in Settings.__slots__})

    assert measure_view(measured(path, 2, fatal)) == measure_view(measured(path, 1))


def test_a_short_recording_is_measured_by_one_process(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("processing.whole_recording.a_pool", None)

    assert len(measured(path, None).keys) == len(KEYS) - 1


def test_no_keys_are_no_work(path: Path) -> None:
    with open_recording(path) as opened:
        assert analyse_file(opened, replace(QUICK), keys=(), workers=2).keys == ()
