"""A key's dynamics on one page: from its recording to what it does at several speeds, after lifts, in repetition.

How it works: presses of all speeds are gathered first, for the places of the note at zero speed go into the numbers of
the slow curve; the dynamic numbers come after those, since reset and sustain window are counted from key dip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from processing.dynamics import numbers
from processing.dynamics.lifts import bracket_of, lifts_of
from processing.dynamics.mass import mass_from_ladder
from processing.dynamics.numbers import Context, missing
from processing.dynamics.presses import Press, presses_of_ladder, presses_of_strokes
from processing.dynamics.recorded import Recorded, touch_of
from processing.dynamics.repetition import limit_of, rows_of
from processing.dynamics.response import response_of
from processing.dynamics.results import KeyDynamics
from processing.dynamics.zero_speed import ZeroSpeed, note_offs, note_ons, to_zero_speed
from processing.inertia import Mass
from processing.notes import NoteLog
from processing.settings import Settings
from processing.stages import Curve, Measurement, Stroke

FAR_SHARE = 0.8
"""A stroke that goes less far than this share of the longest did not start from home."""


@dataclass(frozen=True, slots=True, eq=False)
class Presses:
    """All presses of a key with their notes, and the places of the note at zero speed."""

    recorded: Recorded | None
    presses: tuple[Press, ...]
    trigger: ZeroSpeed | None
    release: ZeroSpeed | None


def gather(
    recorded: Recorded | None,
    strokes: tuple[Stroke, ...],
    used: tuple[Stroke, ...],
    log: NoteLog,
    settings: Settings,
    *,
    place_u_mm: float,
) -> Presses:
    """Return the presses, slow ones and those of the ladder.

    strokes: all of the slow part, fast ones among them; used: those that the slow numbers rest on.
    """
    longest = max(stroke.travel_mm for stroke in strokes)
    far = tuple(stroke for stroke in strokes if stroke.travel_mm >= FAR_SHARE * longest)
    presses = presses_of_strokes(far, log, touch_mm=touch_of(used)) + (presses_of_ladder(recorded) if recorded else [])
    knobs = settings.dynamic
    began = note_ons(presses, following_newton=knobs.following_newton)
    trigger, release = (
        to_zero_speed(told, place_u_mm=place_u_mm, settings=knobs) for told in (began, note_offs(presses))
    )
    return Presses(recorded, tuple(presses), trigger, release)


def with_dynamics(
    slow: tuple[Measurement, ...], pressed: Presses, curve: Curve, hand: Mass, context: Context
) -> tuple[tuple[Measurement, ...], KeyDynamics]:
    """Return a key's numbers with the dynamic ones put in their places, and what these rest on.

    slow: the numbers of the slow curve, in the order of FEATURES; hand: the mass as the slow strokes tell it.
    """
    found, seen = _evaluate(pressed, {measured.name: measured for measured in slow}, curve, hand, context)
    by_name = {measured.name: measured for measured in found}
    return tuple(by_name.get(measured.name, measured) for measured in slow), seen


def _evaluate(
    pressed: Presses, measured: Mapping[str, Measurement], curve: Curve, hand: Mass, context: Context
) -> tuple[list[Measurement], KeyDynamics]:
    """Return the numbers that this recording has something to say of, and what they rest on."""
    found: list[Measurement] = []
    if pressed.trigger is not None:
        found.append(numbers.note_latency(pressed.trigger, context))
    onset, contact = measured["letoff_onset_position"], measured["bed_contact"]
    plain_until_mm = onset.value or contact.value
    if plain_until_mm is not None:
        ladder = mass_from_ladder(
            list(pressed.presses), curve, until_mm=plain_until_mm, settings=context.settings.dynamic
        )
        found.append(numbers.effective_mass(ladder, hand, context))
    trigger_mm = measured["trigger_position"].value
    response = None
    if trigger_mm is not None:
        response = response_of(list(pressed.presses), trigger_mm, context.settings.dynamic)
    found += numbers.response_numbers(response, context) if response else []
    seen = KeyDynamics(pressed.trigger, pressed.release, response)
    if pressed.recorded is None:
        return found, seen
    return _with_lifts_and_rows(found, seen, pressed.recorded, measured, context)


def _with_lifts_and_rows(
    found: list[Measurement],
    seen: KeyDynamics,
    recorded: Recorded,
    measured: Mapping[str, Measurement],
    context: Context,
) -> tuple[list[Measurement], KeyDynamics]:
    dip, release = measured["key_dip"], measured["release_position"]
    lifts = lifts_of(recorded, dip.value) if dip.value is not None else ()
    bracket, rows = bracket_of(lifts), rows_of(recorded)
    limit = limit_of(rows, context.settings.dynamic.presses_asked)
    if bracket is not None:
        found.append(numbers.reset_height(bracket, dip, context))
        if release.value is not None:
            found.append(numbers.sustain_window(bracket, dip, release, context))
        else:
            found.append(missing("sustain_window", "mm", release.reason or "the note did not end"))
    elif lifts:
        found += [missing(name, "mm", "no press after a lift sounded") for name in ("reset_height", "sustain_window")]
    if limit is not None:
        found.append(numbers.repetition_limit(limit, context))
    elif rows:
        asked = context.settings.dynamic.presses_asked
        found.append(missing("repetition_limit", "Hz", f"in no rhythm did {asked} of {asked} presses sound"))
    return found, KeyDynamics(seen.trigger, seen.release, seen.response, lifts, bracket, rows)
