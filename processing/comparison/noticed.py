"""Whether a hand may notice a difference: a guide from published fractions, not a fact about keys.

How it works: forces are told apart if they differ by 7 to 10 % (Pang, Tan & Durlach, Percept. Psychophys. 49:531, 1991:
about 7 % for 2.5 to 10 N; Jones, Perception 18:681, 1989: about 10 % for 2 to 5 N), small lengths by about 0.4 mm (from
memory). Keys lie below the forces that were studied, and no controlled study of key weight was found: a guide. A force
that is part of another (friction, a notch) is held against the force that the finger then feels.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LOWER_FRACTION, UPPER_FRACTION = 0.07, 0.10
LENGTH_MM = 0.4
FELT_AGAINST = {
    "down_weight": "down_weight",
    "up_weight": "up_weight",
    "friction": "down_weight",
    "balance_weight": "down_weight",
    "weight_to_letoff": "weight_to_letoff",
    "weight_to_note": "weight_to_note",
    "lift_weight": "up_weight",
    "breakaway": "down_weight",
    "damper_step": "down_weight",
    "letoff_peak_force": "letoff_peak_force",
    "letoff_rise": "letoff_peak_force",
    "letoff_drop": "letoff_peak_force",
}
"""Forces and the force that they are felt against."""
Guess = Literal["may be noticed", "at the edge", "hardly noticed"]


@dataclass(frozen=True, slots=True)
class Noticed:
    """The guide's answer, and the difference that it takes to be noticed, in the measurand's unit."""

    guess: Guess
    from_difference: float
    to_difference: float


def threshold_of(name: str, unit: str, felt_against: float | None) -> tuple[float, float] | None:
    """Return between which differences one begins to notice; None: nothing is known of such a measurand.

    felt_against: the force that a force is felt against, in N.
    """
    if unit == "mm":
        return LENGTH_MM, LENGTH_MM
    if name in FELT_AGAINST and felt_against is not None and felt_against > 0.0:
        return LOWER_FRACTION * felt_against, UPPER_FRACTION * felt_against
    return None


def noticed(difference: float, threshold: tuple[float, float]) -> Noticed:
    """Return the guide's answer for a difference."""
    low, high = threshold
    if abs(difference) >= high:
        return Noticed("may be noticed", low, high)
    return Noticed("at the edge" if abs(difference) >= low else "hardly noticed", low, high)
