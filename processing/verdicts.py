"""What a key's numbers amount to, in words: note and notch, room to repeat, and what the notch does to a weight test.

How it works: a verdict is given only where the 95 % intervals bear it out. The weight test is what a person reads who
lays weights on the key: the smallest that sinks it, the largest that it lifts; of weights that come in whole grams the
next larger and the next smaller one. Where the notch is higher than all of the way before it by more than both numbers
are unsure of, the notch decides the reading and not balance or friction.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, hypot
from typing import Literal

from processing.display import NEWTON_PER_GF, Units, with_unit
from processing.dynamics.results import Sustain, sustain_verdict
from processing.settings import Settings
from processing.stages import KeyResult, Measurement

NoteOrder = Literal["sounds after the notch", "sounds before the notch", "cannot be told"]
AFTER: NoteOrder = "sounds after the notch"
BEFORE: NoteOrder = "sounds before the notch"
UNSURE: NoteOrder = "cannot be told"
SINKS, LIFTS = ("weight_to_letoff", "weight_to_note"), ("lift_weight",)
ROUNDING_GF = 1e-6
"""A weight of 52.0000001 gf is sunk by 52 g: binary fractions make more of a whole number now and then."""


def note_order(key: KeyResult) -> NoteOrder | None:
    """Return whether the note comes before or behind the notch, None if the key lacks either."""
    margin = key["trigger_margin"]
    if margin.value is None or margin.expanded is None:
        return None
    if abs(margin.value) <= margin.expanded:
        return UNSURE
    return AFTER if margin.value > 0.0 else BEFORE


def sustain(key: KeyResult, settings: Settings) -> Sustain | None:
    """Return what room there is to repeat with the note held, None if it was not measured."""
    return sustain_verdict(key["sustain_window"], settings.dynamic.clear_window_mm)


@dataclass(frozen=True, slots=True)
class NotchDecides:
    """What sinks the key past its notch, and what would if there were none, N."""

    past_newton: float
    without_newton: float


def notch_decides(key: KeyResult) -> NotchDecides | None:
    """Return what the notch does to the weight that sounds the key (or, without notes, that sinks it to the bed); None
    where the notch does not decide it, surely."""
    note, peak, before = (key[name] for name in ("weight_to_note", "letoff_peak_force", "weight_to_letoff"))
    reading = peak if note.value is None else note
    if reading.value is None or before.value is None:
        return None
    over = reading.value - before.value
    if over <= hypot(reading.expanded or 0.0, before.expanded or 0.0):
        return None
    return NotchDecides(reading.value, before.value)


def whole_grams(measurement: Measurement) -> int | None:
    """Return the weight of the weight test in whole grams: the smallest that sinks the key, the largest it lifts.

    >>> whole_grams(Measurement(name="lift_weight", unit="N", value=27.9 * NEWTON_PER_GF))
    27
    >>> whole_grams(Measurement(name="weight_to_note", unit="N", value=52.1 * NEWTON_PER_GF))
    53
    """
    if measurement.value is None:
        return None
    gf = measurement.value / NEWTON_PER_GF
    return floor(gf + ROUNDING_GF) if measurement.name in LIFTS else ceil(gf - ROUNDING_GF)


def notch_sentence(key: KeyResult, units: Units, *, in_whole_grams: bool = False) -> str:
    """Return the sentence for a key whose notch decides the reading; empty for others."""
    decides = notch_decides(key)
    if decides is None:
        return ""
    past, without = (
        f"{ceil(newton / NEWTON_PER_GF - ROUNDING_GF)} g" if in_whole_grams else with_unit(newton, "N", units)
        for newton in (decides.past_newton, decides.without_newton)
    )
    return f"{key.key.name}: {past} sinks it past the notch; without the notch {without} would."
