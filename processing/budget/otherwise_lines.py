"""From how far a number moves when it is read again in another case to a line of its budget.

How it works: each case has a factor from what reading again shows to what may be wrong, which is then the half-width
of a rectangle. A note can only be late, but its place at one speed is raw by its definition; so the whole bound is left
either way, and 95 % of what is even up to a bound lie within 0.95 of it, one-sided or not.
Lean and smoothing are hardly corrected: what they show of one noisy curve is itself noise, and taking it off made twice
the error of it (tried on virtual keys). The place of a lopsided peak is, by its shape (`kink.py`), and that of the foot
of the fall, which smoothing moves by more than noise does.
Sources: GUM (JCGM 100:2008) 3.2.3 (known effects are corrected), F.2.4.5 (or carried), 4.3.7 (rectangular bounds).
"""

from __future__ import annotations

import numpy as np

from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF, Correction, Line
from processing.budget.sources import GROUND, INERTIA, LATENCY, LEAN, LEAST_LEAN, MOST_LEAN, OTHERWISE, SMOOTHING
from processing.kink import LEFT_SHARE
from processing.stages import Curve

LEFT_OF_FRICTION = 2.0
"""Friction comes back exponentially over 0.02 to 0.03 mm (presliding). After 0.03 mm e^(-0.03/l) of it is missing, and
after half as much way again e^(-0.045/l): the first is 1.9 to 2.5 times the difference, which reading again shows."""
AT_KINKS = ("letoff_peak_position", "aftertouch", "trigger_margin")
"""Numbers that rest on the place of a peak; smoothing moves it otherwise than it moves forces (`kink.py`)."""


AT_THE_FOOT = "letoff_end_position"
"""Smoothing draws the foot of the fall out, always onward, and more than noise moves it: taken off as shown."""
AT_FEET = {
    "letoff_peak_force": 2.5,
    "letoff_rise": 2.5,
    "letoff_drop": 2.5,
    "letoff_ratio": 2.5,
    "letoff_end_position": 1.5,
}
"""Where a flank ends in a foot or a top the curvature jumps, and smoothing once more shows less than smoothing once has
done: the effect over what is shown, for raised cosines of 0.30 to 0.45 mm of fall (a test reckons it)."""


def otherwise_lines(
    name: str, unit: str, *, lean: float, heavier: float, stricter: float, smoother: float, later: float, curve: Curve
) -> tuple[tuple[Line, ...], tuple[Correction, ...]]:
    """Return the lines of OTHERWISE and the corrections, given how far the number moves in each case, in its unit."""
    half_widths = {
        LEAN: (LEAST_LEAN + MOST_LEAN) / 2.0 * abs(lean),
        GROUND: LEFT_OF_FRICTION * abs(stricter),
        SMOOTHING: LEFT_SHARE * curve.half_width_mm if name in AT_KINKS else AT_FEET.get(name, 1.0) * abs(smoother),
        LATENCY: abs(later),
    }
    lines = tuple(
        Line(
            name=source,
            kind="B",
            distribution=distribution,
            u=abs(heavier) if source == INERTIA else float(half_widths[source] / np.sqrt(3.0)),
            unit=unit,
            dof=AS_GOOD_AS_KNOWN_DOF,
        )
        for source, distribution, _ in OTHERWISE
    )
    widened = -smoother if name == AT_THE_FOOT else 0.0
    return lines, (Correction(SMOOTHING, widened),) if widened else ()
