"""Whole keyboards in a moment: one synthetic key is analysed, the others follow from it by a known factor each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache

from processing.keyboard import KeyboardResult, compare_keys
from processing.measure import all_missing
from processing.pipeline import analyse
from processing.report.recorded import Recorded, SourceFile
from processing.stages import Finding, KeyResult
from recordings.keys import Key
from tests.builders import QUICK, Press, SyntheticKey, a_header, a_recording, midi

ALL = range(1, 89)
NOTE_ON_S, NOTE_OFF_S = 2.4, 3.6


@cache
def analysed(key: SyntheticKey) -> KeyResult:
    """Return the results of a synthetic key with a note a stroke."""
    recording = a_recording(key, Press(strokes=3))
    lasts_s = float(recording.trace.tick_us[-1]) * 1e-6 / 3
    said = [
        message
        for stroke in range(3)
        for message in (
            (stroke * lasts_s + NOTE_ON_S, bytes([0x90, 60, 64])),
            (stroke * lasts_s + NOTE_OFF_S, bytes([0x80, 60, 64])),
        )
    ]
    return analyse(a_header(), [replace(recording, events=midi(*said))], QUICK).keys[0]


def a_keyboard(
    numbers: Iterable[int] = ALL,
    *,
    sticky: frozenset[int] = frozenset(),
    bad: frozenset[int] = frozenset(),
    key: SyntheticKey | None = None,
    instrument: str = "a test",
) -> KeyboardResult:
    """Return a keyboard whose forces grow by 0.1 % a key; sticky keys are of another kind, bad ones have no curve."""
    plain, heavy = key or SyntheticKey(), SyntheticKey(down=0.62, up=0.16)
    keys = tuple(
        a_bad_key(number) if number in bad else _moved(analysed(heavy if number in sticky else plain), number)
        for number in numbers
    )
    return compare_keys(a_header(instrument), keys, QUICK)


def recorded(result: KeyboardResult, name: str = "a.h5") -> Recorded:
    """Return a keyboard as a report takes it."""
    return Recorded(result, SourceFile(name, "0123456789abcdef" * 4, 1234))


def a_bad_key(number: int) -> KeyResult:
    """Return a key of which nothing could be measured."""
    why = "the trace holds no press"
    finding = Finding("no_stroke", why, (), "record the key again", odd=False)
    return KeyResult(Key(number), 0, all_missing(why), "none", (finding,), None)


def _moved(result: KeyResult, number: int) -> KeyResult:
    factor = 1.0 + 0.001 * number
    curve = result.curve
    assert curve is not None
    return replace(
        result,
        key=Key(number),
        curve=replace(
            curve,
            down_newton=factor * curve.down_newton,
            up_newton=None if curve.up_newton is None else factor * curve.up_newton,
        ),
        measurements=tuple(
            replace(one, value=factor * one.value) if one.value is not None and one.unit == "N" else one
            for one in result.measurements
        ),
    )
