"""What drifted in the curves over a sitting, told by the check keys' own curves, taken out of every key's.

How it works: the force at each place of the way, down and up, is a number like any other, and check keys that were
recorded again tell how it drifts (`statistics/drift.py`). So nobody need say whether the forces drift by as much
everywhere, as a zero would, or by a share, as a warm cell does, or only on one way, as friction does. Every curve is
brought to the middle of the sitting and to what all recordings show on average, as the numbers are; what that leaves
open stays with the curve, signed, for a slope acts one way on the first keys and the other way on the last. Whether the
drift may be bent is decided for a way as most of its places do, else curves would have steps. Behind the first key bed
a hundredth of a millimetre makes more force than any drift: from there on the drift before it is taken. What drifts in
places (dip, let-off) is taken out of the numbers alone: a flank that has moved on the check keys has not moved at the
same place on others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.comparison.curves import common_way, forces_on
from processing.stages import Curve, DriftLeft, FloatArray, KeyResult
from processing.statistics.checked_again import SECONDS_PER_HOUR, CheckedAgain
from processing.statistics.drift import Drift, drift_of

STEP_MM = 0.05
"""Distance of the places at which a drift is asked: under half the kernel's width."""
NEVER, ALWAYS = 0.0, 2.0
"""Probabilities under which a drift may be bent: of none, of any."""


@dataclass(frozen=True, slots=True, eq=False)
class Measuring:
    """One time that a check key was measured."""

    recording: int
    """Which recording it is of; any number that the others do not have."""
    time_s: float
    key: KeyResult


@dataclass(frozen=True, slots=True, eq=False)
class _WayDrift:
    """How the force drifts on one way: a drift for each of its places, all straight or all bent."""

    way_mm: FloatArray
    drifts: tuple[Drift, ...]

    @property
    def dofs(self) -> FloatArray:
        """Degrees of freedom of what is left open, (P,): those of the place that has the fewest."""
        count = len(self.drifts[0].acting(0.0))
        told, differ = (min(each) for each in zip(*((one.dof, one.differ.dof) for one in self.drifts), strict=True))
        return np.array([*[told] * count, differ])

    def amount(self, curve: Curve, hours: float) -> FloatArray:
        """Return what brings a curve (N,) that was measured so many hours too late to the middle."""
        return self._on(curve, [sum(one.amount for one in drift.corrections(hours)) for drift in self.drifts])

    def left(self, curve: Curve, hours: float) -> FloatArray:
        """Return what that leaves open, in independent parts (P, N); the last is what recordings differ by."""
        acting = self.drifts[0].acting(hours)
        parts = np.array([-acting @ _root(drift.fit.covariance) for drift in self.drifts])
        differ = np.array([drift.differ_u for drift in self.drifts])
        return np.array([self._on(curve, part) for part in (*parts.T, differ)])

    def _on(self, curve: Curve, at_places: Sequence[float] | FloatArray) -> FloatArray:
        return np.interp(curve.way_mm, self.way_mm, at_places)


def _root(covariance: FloatArray) -> FloatArray:
    """Return a matrix that times its transpose is the covariance; 0 where nothing scatters."""
    if not np.all(np.diag(covariance) > 0.0):
        return np.zeros_like(covariance)
    return np.asarray(np.linalg.cholesky(covariance), np.float64)


def settle_curves(
    keys: Sequence[KeyResult], at_s: Sequence[float | None], checked: Sequence[Measuring]
) -> tuple[KeyResult, ...]:
    """Return the keys with their curves as they would have been in the middle of the sitting.

    at_s: when each key was measured, None: not known. checked: every measuring of a check key, that in the keyboard's
    own recording among them.
    """
    known = [one for one in at_s if one is not None]
    sitting_s = (min(known), max(known))
    down, up = (_drift_of_way(checked, sitting_s, on_the_way_up=way) for way in (False, True))
    if down is None:
        return tuple(keys)
    middle_s = sum(sitting_s) / 2.0
    return tuple(
        key
        if one is None or key.curve is None
        else replace(key, curve=_settled(key.curve, (one - middle_s) / SECONDS_PER_HOUR, down, up))
        for key, one in zip(keys, at_s, strict=True)
    )


def _drift_of_way(
    checked: Sequence[Measuring], sitting_s: tuple[float, float], *, on_the_way_up: bool
) -> _WayDrift | None:
    """Return the drift of one way, None where the checks cannot tell one."""
    told = [
        (one, one.key.curve)
        for one in checked
        if one.key.curve is not None and not (on_the_way_up and one.key.curve.up_newton is None)
    ]
    if not told:
        return None
    curves = [curve for _, curve in told]
    beds = [value for one, _ in told if (value := one.key["bed_contact"].value) is not None]
    way = common_way(curves, min(beds, default=np.inf), STEP_MM)
    forces = forces_on(curves, way, "up" if on_the_way_up else "down").T.tolist()
    seen = [
        [
            CheckedAgain(one.key.key, one.recording, one.time_s, force)
            for (one, _), force in zip(told, at_place, strict=True)
        ]
        for at_place in forces
    ]
    asked = [drift for checks in seen if isinstance(drift := drift_of(checks, sitting_s), Drift)]
    if len(asked) < len(way):
        return None
    mostly_bent = sum(drift.bent for drift in asked) > len(asked) / 2.0
    drifts = [
        drift if drift.bent == mostly_bent else drift_of(checks, sitting_s, bent_at=ALWAYS if mostly_bent else NEVER)
        for drift, checks in zip(asked, seen, strict=True)
    ]
    alike = tuple(drift for drift in drifts if isinstance(drift, Drift) and drift.bent == mostly_bent)
    return _WayDrift(way, alike) if len(alike) == len(way) else None


def _settled(curve: Curve, hours: float, down: _WayDrift, up: _WayDrift | None) -> Curve:
    upward = None if up is None or curve.up_newton is None else (up, curve.up_newton)
    return replace(
        curve,
        down_newton=curve.down_newton + down.amount(curve, hours),
        up_newton=curve.up_newton if upward is None else upward[1] + upward[0].amount(curve, hours),
        drift_left=DriftLeft(
            down.left(curve, hours),
            down.dofs,
            None if upward is None else upward[0].left(curve, hours),
            None if upward is None else upward[0].dofs,
        ),
    )
