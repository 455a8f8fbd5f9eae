"""Which lines a measurand's budget has, and why: the model of every measurand, one row a source.

How it works: a source says in words what it is, which measurands it acts on, and how large it is for one key's
evidence. Noise and repeatability act on everything and are found by measuring again (`processing/measure.py`); the
calibration's lines are in `calibration_lines.py`. `docs/budget.md` is written from here.
Sources: GUM (JCGM 100:2008) 4.3 (type B), 4.3.7 (rectangular, half-width over root 3).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF, Distribution, Kind, Line, Sensitivity

if TYPE_CHECKING:
    from processing.evidence import Evidence
    from processing.settings import Settings

ZERO, DRIFT, TOUCH = "zero of the cell", "drift of the zero", "place of touch"
DRIFT_APART = "drift between down and up"
TIMED_WAY = "ends of the timed way"
NOISE = "noise, through smoothing and picking"
STROKES = "repeatability of strokes"
LEAN, INERTIA = "lean of picked extremes", "mass of the key"
GROUND = "friction after a step back"
SMOOTHING, LATENCY = "smoothing", "latency bound of the note"
OTHERWISE: tuple[tuple[str, Distribution, str], ...] = (
    (LEAN, "rectangular", "noise lifts what is picked as largest: by what as much noise again does for a sharp "
                          "extreme, by 2.4 times that for a flat one; the middle of the two is the bound"),
    (INERTIA, "normal", "what accelerating the key takes is taken out of the curves; its mass is known only so well"),
    (GROUND, "rectangular", "after a step back friction comes back over some hundredths of a millimetre; samples so "
                            "near are left out, and leaving out more shows what is left of it"),
    (SMOOTHING, "rectangular", "what smoothing once more does; the place of a lopsided peak is corrected, and a "
                               "reckoned share of the kernel is left"),
    (LATENCY, "rectangular", "with strokes at one speed the place of a note is raw, and the note may be late by up to "
                             "its bound"),
)  # fmt: skip
"""Lines that every measurand has, found by reading it again (`otherwise.py`); 0 where it does not hang on them."""
STROKE_BY_STROKE = (NOISE, ZERO, DRIFT, DRIFT_APART)
"""Lines for what every stroke has anew; their scatter is not counted once more as repeatability."""
LEAST_LEAN, MOST_LEAN = 1.0, 1.0 / (np.sqrt(2.0) - 1.0)
"""True lean over the lean that drawing the same noise once more shows. A sharp extreme leans by the noise's variance:
twice the variance, as much again. On flat ground the largest of n grows as the noise's deviation: sqrt 2 times it."""

TIMED_WAY_MM = 1.0
"""measurands.md: the speed at note-on is that over the last millimetre."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source of doubt of type B."""

    name: str
    distribution: Distribution
    unit: str
    acts_on: Callable[[str], bool]
    """Given a measurand's name."""
    u: Callable[[Evidence, Settings], float]
    """Standard uncertainty of the input, in `unit`."""
    why: str
    bend: str | None = None
    """By which bend of the curve (`bent_curves.py`) the sensitivity is found; None: it acts on the number itself."""
    dof: Callable[[Evidence], float] = lambda _: AS_GOOD_AS_KNOWN_DOF

    @property
    def kind(self) -> Kind:
        """A: estimated from repeated readings in this recording."""
        return "A" if self.distribution == "t" else "B"

    def line(self, evidence: Evidence, settings: Settings, sensitivity: Sensitivity) -> Line:
        """Return the source's line for one key. sensitivity: of the measurand to a constant that can be bent."""
        return Line(
            name=self.name,
            kind=self.kind,
            distribution=self.distribution,
            u=float(self.u(evidence, settings)),
            unit=self.unit,
            dof=self.dof(evidence),
            sensitivity=1.0 if self.bend is None else sensitivity(self.bend),
        )


def _zero_u(evidence: Evidence, _: Settings) -> float:
    return evidence.zero_u_newton / float(np.sqrt(max(1, evidence.curve.strokes)))


def _touch_u(evidence: Evidence, _: Settings) -> float:
    return evidence.touch_u_mm


def _timed_way_u(evidence: Evidence, _: Settings) -> float:
    return evidence.speed_mm_per_s * evidence.touch_u_mm * float(np.sqrt(2.0)) / TIMED_WAY_MM


SOURCES = (
    Source(
        ZERO, "normal", "N", lambda _: True, _zero_u,
        "the zero is read in the air of every stroke, with the cell's noise; the number is read again with another",
        bend=ZERO,
    ),
    Source(
        DRIFT, "t", "N", lambda _: True, lambda evidence, _: evidence.drift.together_newton,
        "between two readings in the air the zero wanders off the straight line as far as it does elsewhere",
        bend=ZERO,
        dof=lambda evidence: evidence.drift.dof,
    ),
    Source(
        DRIFT_APART, "t", "N", lambda _: True, lambda evidence, _: evidence.drift.apart_newton,
        "the part of that wandering by which the way up differs from the way down",
        bend=DRIFT_APART,
        dof=lambda evidence: evidence.drift.dof,
    ),
    Source(
        TOUCH, "normal", "mm", lambda _: True, _touch_u,
        "x = 0 is known to the gauge's step and noise and to the way between two samples; the number is read again "
        "from another touch",
        bend=TOUCH,
    ),
    Source(
        TIMED_WAY, "normal", "mm/s", lambda name: name == "speed_at_trigger", _timed_way_u,
        "the speed is a millimetre over its time, and either end is known as well as a place of touch",
    ),
)  # fmt: skip


def rig_lines(name: str, evidence: Evidence, settings: Settings, sensitivity: Sensitivity) -> tuple[Line, ...]:
    """Return the lines of type B of a measurand, given its name, without the calibration's."""
    return tuple(source.line(evidence, settings, sensitivity) for source in SOURCES if source.acts_on(name))


OF_ALL = SOURCES[:4]
"""Sources that every measurand has: zero, both drifts, touch; 0 where it does not hang on them."""
DEFINITION = "room that the definition leaves"
ROOM_OF_DEFINITION = {
    "letoff_slope": "over how much way the steepest fall is taken is not said: the kernel's, in the line of smoothing",
    "damper_position": "how near the step its two sides are read is not said: 0.35 to 0.85 mm here, not counted",
    "damper_step": "how near the step its two sides are read is not said: 0.35 to 0.85 mm here, not counted",
}
"""All other definitions are thresholds and places given as numbers: nothing is left open, so there is no line. What
noise does at a threshold is in the line of noise. Slow may be anything up to 5 mm/s for all of them: a number is that
of the speed at which it was taken."""
