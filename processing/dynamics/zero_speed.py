"""Places of the note at zero speed, and how late it is told: x_observed = x_0 + speed * latency.

How it works: the speed of a stroke is its plunger's own, from the samples: over the time of the latency just before the
note was told (a motor may be braking there), but over no less way than `local_speed_over_mm`, so that the gauge's noise
does not show. As the latency is not known before, line and speeds are found in turn, a few times.
Strokes must differ in speed as a whole: a hand that trembles is now faster and now slower in one and the same stroke.
One bad stroke does not tilt the line: strokes are first held against Theil-Sen's line (the median of all pairwise
slopes), and those further off than `outlier_sigmas` of what a place may scatter are left out and counted. The rest
get a weighted line. A place scatters by the gauge and by the moment of the keyboard's scan, which counts in proportion
to the speed. A motor repeats itself, so strokes at one speed may meet the scan in the same phase and the gauge at the
same step: they are taken together to one point, whose error they share.
Sources: weighted least squares with covariance, GUM (JCGM 100:2008) H.3; a scatter larger than expected widens it by
the Birge ratio (Birge, Phys. Rev. 40:207, 1932), never narrows it; Theil-Sen by scipy.stats.theilslopes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.stats import theilslopes

from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF
from processing.dynamics.presses import Press
from processing.settings import DynamicSettings
from processing.stages import BoolArray, Branch, FloatArray

ROUNDS = 6
"""Each round gains a digit or more: the speed changes by a few percent within the latency."""
FEWEST_FOR_THEIL_SEN = 4
SURELY = 4.0
"""Standard uncertainties."""


@dataclass(frozen=True, slots=True)
class ZeroSpeed:
    """The line: place at zero speed, latency, and how sure both are."""

    place_mm: float
    place_u_mm: float
    latency_s: float
    latency_u_s: float
    dof: float
    strokes: int
    left_out: tuple[str, ...]
    """Names of strokes that lie too far off the line."""
    slowest_mm_per_s: float
    fastest_mm_per_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """A note-on or note-off on its way."""

    name: str
    branch: Branch
    time_s: float


def note_ons(presses: Iterable[Press], *, following_newton: float) -> list[Told]:
    """Return where notes began, of presses whose key followed the plunger: it pressed back when the note was told.

    A key that flies ahead of a braking plunger is not where the plunger is.
    """
    told = [Told(press.name, press.down, press.note.on_s) for press in presses if press.note is not None]
    return [one for one in told if _pressed_newton(one) >= following_newton]


def note_offs(presses: Iterable[Press]) -> list[Told]:
    """Return where notes ended on the way up."""
    return [
        Told(press.name, press.up, press.note.off_s)
        for press in presses
        if press.up is not None
        and press.note is not None
        and press.note.off_s is not None
        and press.up.time_s[0] <= press.note.off_s <= press.up.time_s[-1]
    ]


def _pressed_newton(told: Told) -> float:
    return float(np.interp(told.time_s, told.branch.time_s, told.branch.force_newton))


def to_zero_speed(told: list[Told], *, place_u_mm: float, settings: DynamicSettings) -> ZeroSpeed | None:
    """Return the line of observed place on speed, None where the strokes are too few or too much of one speed."""
    if len(told) < 2:
        return None
    latency_s = 0.0
    typical = np.array([one.branch.speed_mm_per_s for one in told])
    place = np.array([_way_at(one, one.time_s) for one in told])
    for _ in range(ROUNDS):
        speed = np.array([_speed_before(one, max(latency_s, 0.0), settings.local_speed_over_mm) for one in told])
        kept = _near_the_line(speed, place, place_u_mm, settings)
        if min(_ratio(speed[kept]), _ratio(typical[kept])) < settings.least_speed_ratio:
            return None
        line = _weighted_line(speed[kept], place[kept], place_u_mm, settings)
        latency_s = line.latency_s
    if line.latency_s < -SURELY * line.latency_u_s:
        return None  # no note is told before its cause: something else than the speed has moved the place
    left_out = tuple(one.name for one, stays in zip(told, kept.tolist(), strict=True) if not stays)
    return ZeroSpeed(
        line.place_mm, line.place_u_mm, line.latency_s, line.latency_u_s, line.dof, int(kept.sum()), left_out,
        float(np.abs(speed[kept]).min()), float(np.abs(speed[kept]).max()),
    )  # fmt: skip


def _way_at(told: Told, time_s: float) -> float:
    return float(np.interp(time_s, told.branch.time_s, told.branch.way_mm))


def _speed_before(told: Told, latency_s: float, over_mm: float) -> float:
    """Return the mean speed, signed, over the latency before a note was told, and over no less than so much way."""
    here_mm = _way_at(told, told.time_s)
    passed = told.branch.time_s <= told.time_s
    far = np.flatnonzero(np.abs(told.branch.way_mm[passed] - here_mm) >= over_mm)
    over_s = told.time_s - told.branch.time_s[far[-1]] if len(far) else told.time_s - told.branch.time_s[0]
    over_s = max(float(over_s), latency_s, 1e-6)
    return (here_mm - _way_at(told, told.time_s - over_s)) / over_s


def _ratio(speed: FloatArray) -> float:
    sizes = np.abs(speed)
    return float(sizes.max() / sizes.min()) if len(sizes) and sizes.min() > 0.0 else 0.0


def _u(speed: FloatArray, place_u_mm: float, settings: DynamicSettings) -> FloatArray:
    return np.hypot(place_u_mm, speed * settings.note_jitter_s)


def _near_the_line(speed: FloatArray, place: FloatArray, place_u_mm: float, settings: DynamicSettings) -> BoolArray:
    """Tell for each stroke whether it lies near Theil-Sen's line, within what strokes may scatter."""
    if len(speed) < FEWEST_FOR_THEIL_SEN:
        return np.ones(len(speed), np.bool_)
    slope = theilslopes(place, speed)[0]
    off = place - slope * speed
    sigmas = np.abs(off - np.median(off)) / _u(speed, place_u_mm, settings)
    typical = max(1.0, 1.4826 * float(np.median(sigmas)))
    near: BoolArray = sigmas <= settings.outlier_sigmas * typical
    return near


@dataclass(frozen=True, slots=True)
class _Line:
    place_mm: float
    place_u_mm: float
    latency_s: float
    latency_u_s: float
    dof: float


def _weighted_line(speed: FloatArray, place: FloatArray, place_u_mm: float, settings: DynamicSettings) -> _Line:
    groups = same_speed(speed, settings.same_speed_share)
    speeds, places = (np.array([values[group].mean() for group in groups]) for values in (speed, place))
    variance = _u(speeds, place_u_mm, settings) ** 2
    design = np.column_stack([np.ones(len(speeds)), speeds])
    covariance = np.linalg.inv(design.T @ (design / variance[:, None]))
    place_mm, latency_s = covariance @ design.T @ (places / variance)
    free = len(groups) - 2
    birge = float(np.sum((places - place_mm - speeds * latency_s) ** 2 / variance)) / free if free else 0.0
    dof = float(free) if birge > 1.0 else AS_GOOD_AS_KNOWN_DOF
    place_u, latency_u = np.sqrt(np.diag(covariance) * max(1.0, birge))
    return _Line(float(place_mm), float(place_u), float(latency_s), float(latency_u), dof)


def same_speed(speed: FloatArray, share: float) -> list[FloatArray]:
    """Return the places, in an array of speeds, of strokes at about one speed: each no further than a share from the
    next slower one."""
    order = np.argsort(np.abs(speed), kind="stable")
    sizes = np.abs(speed)[order]
    cuts = np.flatnonzero(np.diff(sizes) > share * sizes[:-1]) + 1
    return [np.asarray(group) for group in np.split(order, cuts)]
