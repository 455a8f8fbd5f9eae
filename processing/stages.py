"""The stages between counts and numbers, a type for each, so that the wrong order does not type-check.

`RawTrace -> CalibratedTrace -> Stroke -> Curve -> KeyResult -> KeyboardResult`. Arrays are read-only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from processing.budget.lines import Budget
from recordings.keys import Key

if TYPE_CHECKING:
    from processing.dynamics.results import KeyDynamics

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
SPEED_OVER_MM = 0.25
Give = Callable[[FloatArray], FloatArray]
"""Forces in N to how far in mm the rig itself gives under them."""
LetOffKind = Literal["found", "shoulder", "none"]


def read_only(*arrays: NDArray[np.generic]) -> None:
    """Make arrays read-only; a stage owns what it is given."""
    for array in arrays:
        array.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class CalibratedTrace:
    """One key's samples in physical units, oldest first, arrays (N,). The force still holds the cell's zero."""

    time_s: FloatArray
    displacement_mm: FloatArray
    """Of the stage: what the rig gives under load is not yet taken out."""
    force_newton: FloatArray
    give_mm: Give
    displacement_step_mm: float
    """One count of the displacement gauge, or the rounding that the values show."""
    displacement_noise_mm: float
    """Standard deviation of one sample of displacement."""
    outliers: int
    """Samples left out because they stand far from their neighbours."""
    gaps: int
    """Places where samples are missing."""
    force_range_newton: tuple[float, float] | None = None
    """What was calibrated of the force channel, on its own scale; None: nothing, or nobody has said."""
    displacement_range_mm: tuple[float, float] | None = None
    """The same of the displacement channel."""

    def __post_init__(self) -> None:
        read_only(self.time_s, self.displacement_mm, self.force_newton)


@dataclass(frozen=True, slots=True)
class Note:
    """A note that began, and ended if it did."""

    on_s: float
    velocity: float | None
    """Of MIDI, 1..127; with high-resolution velocity in steps of 1/128. None: a contact tells none."""
    off_s: float | None


@dataclass(frozen=True, eq=False)
class Branch:
    """One way of a stroke, zero and give taken out, new ground only. Arrays (N,) in the order of time.

    Without slots, so that the typical speed, which many ask for, is kept once it is found.
    """

    time_s: FloatArray
    way_mm: FloatArray
    """Of the plunger tip, 0 at touch, downward positive."""
    force_newton: FloatArray

    def __post_init__(self) -> None:
        read_only(self.time_s, self.way_mm, self.force_newton)

    @cached_property
    def speed_mm_per_s(self) -> float:
        """Typical speed: the median over stretches of SPEED_OVER_MM, so a pause does not make a stroke slow."""
        way, time_s = self.way_mm, self.time_s
        if not (way[1:] >= way[:-1]).all():
            order = np.argsort(way, kind="stable")
            way, time_s = way[order], time_s[order]
        if len(way) < 2 or way[-1] - way[0] < 4.0 * SPEED_OVER_MM:
            return 0.0
        passed_s = np.abs(np.diff(np.interp(np.arange(way[0], way[-1], SPEED_OVER_MM), way, time_s)))
        return float(SPEED_OVER_MM / max(np.median(passed_s), 1e-6))


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """One press: down, and up again if the key was let up."""

    down: Branch
    up: Branch | None
    touch_mm: float
    """Place of touch on the stage's scale."""
    zero_newton: float
    """What the cell showed in the air."""
    zero_u_newton: float
    preloaded: bool
    travel_mm: float
    """From touch to the turn."""
    zeros: tuple[tuple[float, float], ...] = ()
    """When the plunger hung in the air, s, and what the cell showed then, N: before and after the stroke."""
    stricter: tuple[Branch, Branch | None] | None = None
    """Down and up, had more way to be regained after each step back; None: the plunger never went back."""


@dataclass(frozen=True, slots=True, eq=False)
class DriftLeft:
    """What a drift that was taken out of a curve leaves open, arrays (P, N) in N: P independent parts, each a standard
    uncertainty, signed, for all keys of a recording err together: by the slope one way on the first key and the other
    way on the last, by the bend one way on both, by what the recording is off by as a whole one way on all."""

    down_newton: FloatArray
    down_dofs: FloatArray
    """Of each part, (P,); the ways may have more or fewer parts, for one may bend."""
    up_newton: FloatArray | None
    up_dofs: FloatArray | None

    def __post_init__(self) -> None:
        read_only(self.down_newton)
        read_only(self.down_dofs)
        if self.up_dofs is not None:
            read_only(self.up_dofs)
        if self.up_newton is not None:
            read_only(self.up_newton)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Force over way on an even grid from touch on. Arrays (N,); forces in N, standard errors in N."""

    way_mm: FloatArray
    down_newton: FloatArray
    up_newton: FloatArray | None
    """None: the key was not let up."""
    down_u_newton: FloatArray
    up_u_newton: FloatArray | None
    half_width_mm: float
    """Of the smoothing kernel."""
    gap: BoolArray
    """Where there were no samples near and the curve is only drawn across."""
    strokes: int
    noise_dof: float
    drift_left: DriftLeft | None = None
    """None: no drift was taken out."""

    def __post_init__(self) -> None:
        read_only(self.way_mm, self.down_newton, self.down_u_newton, self.gap)
        if self.up_newton is not None and self.up_u_newton is not None:
            read_only(self.up_newton, self.up_u_newton)

    @property
    def step_mm(self) -> float:
        """Distance between two points."""
        return self.way_mm.item(1) - self.way_mm.item(0)


@dataclass(frozen=True, slots=True)
class StrokeNotes:
    """Where the note of one stroke began and ended, mm from touch; None: it did not, or nobody told."""

    trigger_mm: float | None
    release_mm: float | None
    velocity: float | None
    speed_at_trigger_mm_per_s: float | None
    """Mean over the last millimetre before note-on."""
    plunger_at_trigger_mm_per_s: float | None = None
    plunger_at_release_mm_per_s: float | None = None
    """How fast the plunger was just then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One number of one key with all that must come with it, or the reason why it is missing."""

    name: str
    unit: str
    value: float | None
    u: float | None = None
    """Standard uncertainty, in `unit`."""
    dof: float | None = None
    coverage_factor: float | None = None
    flags: tuple[str, ...] = ()
    reason: str | None = None
    """Why there is no value."""
    budget: Budget | None = None
    """All lines that `u` is made of."""

    @property
    def expanded(self) -> float | None:
        """U95: half-width of the 95 % interval."""
        return None if self.u is None or self.coverage_factor is None else self.u * self.coverage_factor


@dataclass(frozen=True, slots=True)
class Finding:
    """Something worth knowing about a key or its strokes: in words, with numbers, with advice."""

    code: str
    template: str
    """The words, with {} where a number goes: numbers are shown in the reader's units."""
    numbers: tuple[tuple[float, str], ...]
    """Value and unit of each number, N or mm."""
    advice: str
    odd: bool
    """True: the key itself is to be looked at; False: the recording is."""


@dataclass(frozen=True, slots=True, eq=False)
class KeyResult:
    """All that is known about one key."""

    key: Key
    strokes: int
    """Strokes that the numbers rest on."""
    measurements: tuple[Measurement, ...]
    letoff: LetOffKind
    findings: tuple[Finding, ...]
    curve: Curve | None
    """None: nothing could be measured; the findings say why."""
    stroke_curves: tuple[Curve, ...] = ()
    window_mm: tuple[float, float] | None = None
    """Where down and up weight were taken; None: there was no place for them."""
    dynamics: KeyDynamics | None = None
    """What strokes at several speeds, lifts and repetitions have shown; None: nothing could be measured."""
    letoff_limit_newton: float | None = None
    """A let-off fainter than this would not have been told from noise; None: nothing could be measured."""
    began_s: float | None = None
    """When its first sample was taken, by the rig's clock; None: there is none."""

    def __getitem__(self, name: str) -> Measurement:
        return next(measurement for measurement in self.measurements if measurement.name == name)
