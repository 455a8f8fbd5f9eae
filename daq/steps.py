"""The steps of a stroke programme, carried out on the key under the plunger. `STEPS` says which function does which.

How it works: every step leaves marks in the recording that name its stretches; numbers are not worked out here, but
two steps choose their next press by whether the last one sounded. Before anything moves `refuse_unfit` holds the
programme against what the rig can do.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from typing import Any

from daq.errors import ProgrammeUnfit
from daq.introduction import RigIntroduction
from daq.notes_heard import NotesHeard
from daq.peak_force import PeakForce
from daq.plunger import Plunger
from daq.programme import PartialLifts, Programme, RepetitionLadder, Rest, SpeedLadder, Step, Strokes
from recordings.keys import Key

MOST_TRIES = 3
"""So often a lift is repeated when something was lost on the cable meanwhile: a lost note looks like a silent key."""

Say = Callable[[str, float], None]
"""Told what is being done, and which share of the step is behind us."""


def carry_out(step: Step, key: Key, plunger: Plunger, say: Say) -> None:
    """Do one step."""
    STEPS[type(step)](step, key, plunger, say)


def _rest(step: Rest, _: Key, plunger: Plunger, say: Say) -> None:
    say("rest", 0.0)
    plunger.session.rest(step.seconds)
    plunger.recorder.end_stretch("rest", step.do)


def _strokes(step: Strokes, _: Key, plunger: Plunger, say: Say) -> None:
    for stroke in range(1, step.count + 1):
        say(f"stroke {stroke} of {step.count}", (stroke - 1) / step.count)
        plunger.go(plunger.start_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2)
        plunger.session.rest(step.rest_s)
        plunger.press_to_bed(step.speed_mm_per_s, step.acceleration_mm_per_s2, step.force_limit_newton)
        plunger.go(plunger.start_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2)
        plunger.recorder.end_stretch(f"stroke {stroke}", step.do)


def _speed_ladder(step: SpeedLadder, _: Key, plunger: Plunger, say: Say) -> None:
    bottom_mm = _bed(plunger, step.do) - step.stop_above_bed_mm
    for number, speed in enumerate(step.speeds_mm_per_s):
        say(f"{speed:g} mm/s", number / len(step.speeds_mm_per_s))
        for stroke in range(1, step.strokes_each + 1):
            plunger.go(plunger.touch_mm, APPROACH_MM_PER_S, APPROACH_MM_PER_S2)
            plunger.session.rest(step.rest_s)
            plunger.go(bottom_mm, speed, step.acceleration_mm_per_s2, step.force_limit_newton)
            plunger.session.rest(step.rest_s)
            plunger.go(plunger.start_mm, APPROACH_MM_PER_S, APPROACH_MM_PER_S2)
            plunger.recorder.end_stretch(f"{speed:g} mm/s, stroke {stroke}", step.do)


def _partial_lifts(step: PartialLifts, key: Key, plunger: Plunger, say: Say) -> None:
    """Halve the doubt between the highest lift that failed (0) and the lowest that worked (all the way)."""
    bed_mm = _bed(plunger, step.do)
    fails_mm, works_mm = 0.0, bed_mm - plunger.start_mm
    all_the_way_mm = works_mm
    if not _press_after_lift(works_mm, bed_mm, step, key, plunger):
        plunger.recorder.end_stretch("no note is heard: partial lifts left out", step.do)
        return
    for number in range(1, step.most_lifts + 1):
        if works_mm - fails_mm <= step.closest_mm:
            break
        lift_mm = (fails_mm + works_mm) / 2
        say(f"lift {lift_mm:.2f} mm", 1.0 - (works_mm - fails_mm) / all_the_way_mm)
        sounded = _press_after_lift(lift_mm, bed_mm, step, key, plunger)
        fails_mm, works_mm = (fails_mm, lift_mm) if sounded else (lift_mm, works_mm)
        plunger.recorder.end_stretch(f"lift {number}: {lift_mm:.3f} mm {'sounded' if sounded else 'silent'}", step.do)
    plunger.go(plunger.start_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2)
    plunger.recorder.end_stretch(f"resets between {fails_mm:.3f} and {works_mm:.3f} mm", step.do)


def _press_after_lift(lift_mm: float, bed_mm: float, step: PartialLifts, key: Key, plunger: Plunger) -> bool:
    """Lift from the bed, press again, and tell whether it sounded."""
    for _ in range(MOST_TRIES):
        plunger.go(bed_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2, step.force_limit_newton)
        plunger.session.rest(step.listen_s)
        notes = NotesHeard(key)
        with plunger.recorder.listening(notes.listen):
            plunger.go(bed_mm - lift_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2)
            plunger.session.rest(step.listen_s)
            plunger.go(bed_mm, step.speed_mm_per_s, step.acceleration_mm_per_s2, step.force_limit_newton)
            plunger.session.rest(step.listen_s)
        if notes.count or not notes.lost:
            break
    return notes.count > 0


def _repetition_ladder(step: RepetitionLadder, key: Key, plunger: Plunger, say: Say) -> None:
    bottom_mm = _bed(plunger, step.do) - step.stop_above_bed_mm
    top_mm = max(plunger.touch_mm, bottom_mm - step.lift_mm)
    for number, rate_hz in enumerate(step.rates_hz):
        speed = _swing_speed(bottom_mm - top_mm, rate_hz, step.acceleration_mm_per_s2)
        if speed is None or speed > plunger.rig.fastest_mm_per_s:
            plunger.recorder.end_stretch(f"{rate_hz:g} Hz: faster than the plunger can", step.do)
            break
        say(f"{rate_hz:g} Hz", number / len(step.rates_hz))
        plunger.go(top_mm, APPROACH_MM_PER_S, APPROACH_MM_PER_S2, step.force_limit_newton)
        plunger.session.rest(step.listen_s)
        notes, force = NotesHeard(key), PeakForce(plunger.rig.calibration.force)
        with plunger.recorder.listening(notes.listen), plunger.recorder.listening(force.listen):
            plunger.swing(top_mm, bottom_mm, step.presses, speed, step.acceleration_mm_per_s2, step.force_limit_newton)
            plunger.session.rest(step.listen_s)
        at_limit = force.newton >= plunger.zero_newton + step.force_limit_newton
        name = f"{rate_hz:g} Hz: {notes.count} of {step.presses} sounded"
        plunger.recorder.end_stretch(name + (", turned back by the force limit" if at_limit else ""), step.do)
        if at_limit or (notes.count < step.presses and not notes.lost):
            break
    plunger.go(plunger.start_mm, APPROACH_MM_PER_S, APPROACH_MM_PER_S2)
    plunger.recorder.end_stretch("return", step.do)


def _swing_speed(way_mm: float, rate_hz: float, acceleration: float) -> float | None:
    """Return the speed in mm/s at which a trapezoid move over the way takes half a period; None: it cannot be done.

    Source: way / v + v / a = T / 2, its smaller root.
    """
    half_s = 0.5 / rate_hz
    room = half_s**2 - 4.0 * way_mm / acceleration
    return None if room < 0.0 else acceleration / 2.0 * (half_s - sqrt(room))


def _bed(plunger: Plunger, step_name: str) -> float:
    if plunger.bed_mm is None:
        raise ProgrammeUnfit(step_name, "it needs a step of slow strokes before it, to know where the key bed is")
    return plunger.bed_mm


APPROACH_MM_PER_S, APPROACH_MM_PER_S2 = 10.0, 200.0
"""For ways between the presses."""

STEPS: dict[type[Any], Callable[[Any, Key, Plunger, Say], None]] = {
    Rest: _rest,
    Strokes: _strokes,
    SpeedLadder: _speed_ladder,
    PartialLifts: _partial_lifts,
    RepetitionLadder: _repetition_ladder,
}


def refuse_unfit(programme: Programme, rig: RigIntroduction) -> None:
    """Raise ProgrammeUnfit if the rig cannot do what the programme asks for, or its steps stand in a wrong order."""
    if not rig.has_motor:
        raise ProgrammeUnfit(programme.name, "it has no motor; record by hand (`keyplumb survey --by-hand`)")
    knows_bed = False
    for step in programme.steps:
        knows_bed = knows_bed or isinstance(step, Strokes)
        if isinstance(step, SpeedLadder | PartialLifts | RepetitionLadder) and not knows_bed:
            raise ProgrammeUnfit(programme.name, f"{step.do!r} needs a step of slow strokes before it")
        for name, asked, most in _demands(step, rig):
            if asked > most:
                raise ProgrammeUnfit(programme.name, f"{step.do!r} asks for {name} {asked:g}, the rig does {most:g}")


def _demands(step: Step, rig: RigIntroduction) -> list[tuple[str, float, float]]:
    """Return (name, asked for, at most) of a step's speed, acceleration and force."""
    if isinstance(step, Rest):
        return []
    speeds = step.speeds_mm_per_s if isinstance(step, SpeedLadder) else (getattr(step, "speed_mm_per_s", 0.0),)
    return [
        ("speed_mm_per_s", max(speeds), rig.fastest_mm_per_s),
        ("acceleration_mm_per_s2", step.acceleration_mm_per_s2, rig.hardest_mm_per_s2),
        ("force_limit_newton", step.force_limit_newton, rig.force_range_newton),
    ]
