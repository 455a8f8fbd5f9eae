"""The operator of a virtual workbench: lays masses on, touches the pan, puts things under the plunger, presses.

How it works: one line is one act, and gets one line back: "ok ..." or "no: why". A line that cannot be obeyed changes
nothing. Acts are done between two samples, at the rig's time.

    pan m20 m50      these masses, and no others, lie on the pan that stands on the load cell's tip
    pan              nothing lies on it
    touch 0.3 2      a finger pushes the pan with 0.3 N for 2 s
    drift 0.001      the zero drifts by 0.001 N/s from now on
    under table      stands under the plunger; also: block b5, stop, spring, nothing, key C4
    press            the person presses slowly on it, to about 5 N, and lets go (only where a person holds the plunger)
    stroke 20        the same at about 20 mm/s
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import isfinite

from rig.virtual.bench import Bench
from rig.virtual.frame import Reference
from rig.virtual.person import VirtualPerson
from rig.virtual.reference_bench import NOTHING, ReferenceBench

PRESS_MM_PER_S = 1.0
"""Slow enough for hundreds of samples while a stiff thing takes the force up."""
CLEAR_MM = 0.2
"""What is put under the plunger must have this much room."""
MOST_TOUCH_NEWTON, MOST_TOUCH_S, MOST_DRIFT_NEWTON_PER_S, MOST_STROKE_MM_PER_S = 10.0, 600.0, 0.1, 100.0
SEMITONE = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class _Refused(Exception):
    """Why a line is not obeyed."""


def key_number(name: str) -> int | None:
    """Return the number of a key by its name, None if it is no name of a key; source: MIDI 1.0, note = number + 20.

    >>> key_number("A0"), key_number("C4"), key_number("H2")
    (1, 40, None)
    """
    parts = re.fullmatch(r"([A-G])(#?)([0-8])", name)
    if parts is None or parts[1] + parts[2] in ("E#", "B#"):
        return None
    number = 12 * (int(parts[3]) + 1) + SEMITONE[parts[1]] + len(parts[2]) - 20
    return number if 1 <= number <= 88 else None


class Workbench:
    """Obeys its operator's lines."""

    def __init__(self, bench: ReferenceBench) -> None:
        self._bench = bench
        self._acts = {
            "pan": self._pan,
            "touch": self._touch,
            "drift": self._drift,
            "under": self._under,
            "press": self._press,
            "stroke": self._stroke,
        }

    @staticmethod
    def of(bench: Bench) -> Workbench | None:
        """Return the operator of a bench that has reference objects, None for any other."""
        return Workbench(bench) if isinstance(bench, ReferenceBench) else None

    def obey(self, line: str) -> str:
        """Do what a line says and return the answer, without a line end."""
        words = line.split()
        try:
            if not words or words[0] not in self._acts:
                raise _Refused(f"say one of {', '.join(self._acts)}")
            return f"ok {self._acts[words[0]](words[1:])}"
        except _Refused as why:
            return f"no: {why}"

    def _pan(self, masses: Sequence[str]) -> str:
        known = [mass.name for mass in self._bench.truth.masses]
        for mass in masses:
            if mass not in known:
                raise _Refused(f"there is no mass {mass!r}; there are {', '.join(known)}")
            if masses.count(mass) > 1:
                raise _Refused(f"there is only one {mass!r}")
        if self._bench.stage.moving or self._bench.pressing_newton > 0.0:
            raise _Refused("the plunger moves or presses on something; bring it up and let it stand first")
        self._bench.pan_newton = self._bench.truth.pan_newton(masses)
        return f"on the pan: {', '.join(masses) or 'nothing'}"

    def _touch(self, words: Sequence[str]) -> str:
        newton, seconds = _numbers(words, "touch NEWTON SECONDS", 2)
        if not 0.0 < abs(newton) <= MOST_TOUCH_NEWTON or not 0.0 < seconds <= MOST_TOUCH_S:
            raise _Refused(f"a finger pushes with up to {MOST_TOUCH_NEWTON:g} N for up to {MOST_TOUCH_S:g} s")
        self._bench.touch(newton, seconds)
        return f"a finger pushes the pan with {newton:g} N for {seconds:g} s"

    def _drift(self, words: Sequence[str]) -> str:
        (newton_per_s,) = _numbers(words, "drift NEWTON_PER_SECOND", 1)
        if abs(newton_per_s) > MOST_DRIFT_NEWTON_PER_S:
            raise _Refused(f"a zero drifts by {MOST_DRIFT_NEWTON_PER_S:g} N/s at most")
        self._bench.sensors.drift_by(newton_per_s)
        return f"the zero drifts by {newton_per_s:g} N/s"

    def _under(self, words: Sequence[str]) -> str:
        match words:
            case ["key", name]:
                return self._put_key(name)
            case ["block", name]:
                thing = self._block(name)
            case ["table"]:
                thing = Reference("table", self._bench.truth.table_mm)
            case ["stop"]:
                thing = Reference("stop", self._bench.truth.stop.surface_mm)
            case ["spring"]:
                spring = self._bench.truth.spring
                thing = Reference("spring", spring.surface_mm, 1.0 / spring.stiffness_newton_per_mm)
            case ["nothing"]:
                thing = NOTHING
            case _:
                raise _Refused("say under table, block NAME, stop, spring, nothing or key NAME")
        self._make_room(thing.surface_mm)
        self._bench.put_under(thing)
        return f"under the plunger: {thing.name}"

    def _block(self, name: str) -> Reference:
        truth = self._bench.truth
        for block in truth.blocks:
            if block.name == name:
                return Reference(f"block {name} on the table", truth.table_mm - block.true_mm)
        raise _Refused(f"there is no block {name!r}; there are {', '.join(block.name for block in truth.blocks)}")

    def _put_key(self, name: str) -> str:
        number = key_number(name)
        if number is None or number not in self._bench.keys:
            raise _Refused(f"there is no key {name!r}; keys are A0, A#0, B0 ... C8")
        self._make_room(self._bench.keys[number].surface_mm)
        self._bench.carry_to(number)
        return f"under the plunger: key {name}"

    def _make_room(self, surface_mm: float) -> None:
        """Refuse what the plunger would stand in the way of."""
        person, stage = self._bench.person, self._bench.stage
        if stage.moving or (person is not None and not person.idle):
            raise _Refused("the plunger moves; wait until it stands")
        place_mm = stage.plunger()[0]
        if place_mm > surface_mm - CLEAR_MM:
            raise _Refused(f"the plunger is in the way, {place_mm:.1f} mm down; bring it up first")

    def _press(self, words: Sequence[str]) -> str:
        if words:
            raise _Refused("say press alone")
        person, thing, surface_mm, _ = self._pressed()
        person.press_on(surface_mm, PRESS_MM_PER_S)
        return f"presses on: {thing}"

    def _stroke(self, words: Sequence[str]) -> str:
        (mm_per_s,) = _numbers(words, "stroke MM_PER_SECOND", 1)
        if not 0.0 < mm_per_s <= MOST_STROKE_MM_PER_S:
            raise _Refused(f"a hand strokes at up to {MOST_STROKE_MM_PER_S:g} mm/s")
        person, thing, surface_mm, softness = self._pressed()
        # a person looks at the plunger, and wishes more where the thing holds it back
        wish = 1.0 + 1.0 / (softness * person.hand.spec.stiffness_newton_per_mm) if softness else 1.0
        person.press_on(surface_mm, mm_per_s * wish)
        return f"strokes at about {mm_per_s:g} mm/s: {thing}"

    def _pressed(self) -> tuple[VirtualPerson, str, float, float]:
        """Return who presses, on what, where its surface is in mm, and how soft it is in mm/N."""
        bench = self._bench
        if bench.person is None:
            raise _Refused("a motor holds the plunger, so the host presses; --hand has a person")
        if bench.under is NOTHING:
            raise _Refused("there is nothing under the plunger")
        if bench.under is None:
            return bench.person, f"key {bench.station}", bench.keys[bench.station].surface_mm, 0.0
        return bench.person, bench.under.name, bench.under.surface_mm, bench.under.softness_mm_per_newton


def _numbers(words: Sequence[str], form: str, count: int) -> list[float]:
    """Return the numbers that follow a word. Refuses any other count, and what is no finite number."""
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = []
    if len(numbers) != count or not all(map(isfinite, numbers)):
        raise _Refused(f"say {form}, with numbers")
    return numbers
