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

from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF, Distribution, Line
from processing.inertia import HEAVIEST_KEY_KG
from processing.otherwise import smoothing_bound
from processing.stages import Curve

if TYPE_CHECKING:
    from processing.evidence import Evidence
    from processing.settings import Settings

NOISE = "noise, through smoothing and picking"
STROKES = "repeatability of strokes"
INERTIA, SMOOTHING, LATENCY = "mass of the key", "smoothing", "latency bound of the note"
OTHERWISE: tuple[tuple[str, Distribution, str], ...] = (
    (INERTIA, "normal", "what accelerating the key takes is taken out of the curves; its mass is known only so well"),
    (SMOOTHING, "rectangular", "the curve is smoothed once more and read again; at a lopsided peak a reckoned bound"),
    (LATENCY, "rectangular", "the note may be late by up to its bound; the number is read again for that case"),
)
"""Lines that every measurand has, found by reading it again (`otherwise.py`); 0 where it does not hang on them."""

DIFFERENCES = ("friction", "letoff_rise", "letoff_drop", "breakaway", "damper_step")
"""Forces less forces: the zero of the cell falls out."""
TIMED_WAY_MM = 1.0
"""measurands.md: the speed at note-on is that over the last millimetre."""
FORCE_AT_ENDS_NEWTON = 1.0
"""A shift of x = 0 by dx changes a work by the force at its ends times dx; no plain key takes 1 N before the bed."""


@dataclass(frozen=True, slots=True)
class Source:
    """One source of doubt of type B."""

    name: str
    distribution: Distribution
    unit: str
    sensitivity: float
    acts_on: Callable[[str, str], bool]
    """Given a measurand's name and unit."""
    u: Callable[[Evidence, Settings], float]
    """Standard uncertainty of the input, in `unit`."""
    why: str

    def line(self, evidence: Evidence, settings: Settings) -> Line:
        """Return the source's line for one key."""
        return Line(
            name=self.name,
            kind="B",
            distribution=self.distribution,
            u=float(self.u(evidence, settings)),
            unit=self.unit,
            dof=AS_GOOD_AS_KNOWN_DOF,
            sensitivity=self.sensitivity,
        )


def _zero_u(evidence: Evidence, _: Settings) -> float:
    return evidence.zero_u_newton / float(np.sqrt(max(1, evidence.curve.strokes)))


def _touch_u(evidence: Evidence, _: Settings) -> float:
    return evidence.touch_u_mm


def start_ramp_newton(evidence: Evidence) -> float:
    """Return how much force setting the key in motion can take: m v^2 / (2 d), d the kernel's half-width.

    Source: energy of the moving key over the way in which it was given; 0.35 kg is a heavy bass key's effective mass.
    """
    speed_m_per_s, way_m = evidence.speed_mm_per_s * 1e-3, evidence.curve.half_width_mm * 1e-3
    return HEAVIEST_KEY_KG * speed_m_per_s**2 / (2.0 * way_m)


def _timed_way_u(evidence: Evidence, _: Settings) -> float:
    return evidence.speed_mm_per_s * evidence.touch_u_mm * float(np.sqrt(2.0)) / TIMED_WAY_MM


def _start_u(evidence: Evidence, _: Settings) -> float:
    return start_ramp_newton(evidence) / float(np.sqrt(3.0))


SOURCES = (
    Source(
        "zero of the cell", "normal", "N", 1.0,
        lambda name, unit: unit == "N" and name not in DIFFERENCES, _zero_u,
        "the zero is read in the air of every stroke, with the cell's noise; where forces are subtracted it falls out",
    ),
    Source(
        "place of touch", "normal", "mm", 1.0,
        lambda _, unit: unit == "mm", _touch_u,
        "x = 0 is known to the gauge's step and noise and to the way between two samples; where two places are "
        "subtracted it falls out but is counted all the same, on the safe side",
    ),
    Source(
        "place of touch, ends of the work", "normal", "mm", FORCE_AT_ENDS_NEWTON,
        lambda _, unit: unit == "mJ", _touch_u,
        "a shifted x = 0 shifts the ends of the work by force times way; 1 N is more than a plain key takes",
    ),
    Source(
        "setting the key in motion", "rectangular", "N", 1.0,
        lambda name, _: name == "breakaway", _start_u,
        "m v^2 / 2d for the heaviest key over the kernel's half-width is force of motion, not of break-away",
    ),
    Source(
        "ends of the timed way", "normal", "mm/s", 1.0,
        lambda name, _: name == "speed_at_trigger", _timed_way_u,
        "the speed is a millimetre over its time, and either end is known as well as a place of touch",
    ),
)  # fmt: skip


def otherwise_lines(
    name: str, unit: str, *, heavier: float, smoother: float, later: float, curve: Curve
) -> tuple[Line, ...]:
    """Return the lines of OTHERWISE, given how far the number moves in each case, in its own unit."""
    sizes = (
        abs(heavier),
        smoothing_bound(name, smoother, curve) / float(np.sqrt(3.0)),
        abs(later) / float(np.sqrt(3.0)),
    )
    return tuple(
        Line(name=source, kind="B", distribution=distribution, u=u, unit=unit, dof=AS_GOOD_AS_KNOWN_DOF)
        for (source, distribution, _), u in zip(OTHERWISE, sizes, strict=True)
    )


def rig_lines(name: str, unit: str, evidence: Evidence, settings: Settings) -> tuple[Line, ...]:
    """Return the lines of type B of a measurand, given its name and unit, without the calibration's."""
    return tuple(source.line(evidence, settings) for source in SOURCES if source.acts_on(name, unit))
