"""What drifted in the curves over a sitting, told by the check keys' own curves, taken out of every key's.

How it works: the force at each place of the way, down and up, is a number like any other, and check keys that were
recorded again tell how it drifts (`statistics/drift.py`). So nobody need say whether the forces drift by as much
everywhere, as a zero would, or by a share, as a warm cell does, or only on one way, as friction does. Every curve is
brought to the middle of the sitting, as the numbers are; how unsure the slopes are stays with the curve, signed, for it
acts one way on the first keys and the other way on the last. Behind the first key bed a hundredth of a millimetre makes
more force than any drift: from there on the drift before it is taken. What drifts in places (dip, let-off) is taken out
of the numbers alone: a flank that has moved on the check keys has not moved at the same place on others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from processing.comparison.curves import common_way, forces_on
from processing.stages import Curve, DriftLeft, FloatArray, KeyResult
from processing.statistics.drift import CheckedAgain, drift_of

STEP_MM = 0.05
"""Distance of the places at which a drift is asked: under half the kernel's width."""


@dataclass(frozen=True, slots=True, eq=False)
class CurveDrift:
    """How the force drifts on one way, arrays (N,) over the way in mm: N an hour and its standard uncertainty."""

    way_mm: FloatArray
    per_hour: FloatArray
    u_per_hour: FloatArray
    dof: float


def settle_curves(
    keys: Sequence[KeyResult], hours: Sequence[float | None], checked: Sequence[tuple[float, KeyResult]]
) -> tuple[KeyResult, ...]:
    """Return the keys with their curves as they would have been in the middle of the sitting.

    hours: of each key after the middle, None: not known. checked: every measuring of a check key, with its seconds.
    """
    down, up = (_drift_of_way(checked, on_the_way_up=way) for way in (False, True))
    if down is None:
        return tuple(keys)
    return tuple(
        key if at is None or key.curve is None else replace(key, curve=_settled(key.curve, at, down, up))
        for key, at in zip(keys, hours, strict=True)
    )


def _drift_of_way(checked: Sequence[tuple[float, KeyResult]], *, on_the_way_up: bool) -> CurveDrift | None:
    """Return the drift of one way, None where the checks cannot tell one."""
    told = [
        (time_s, key, key.curve)
        for time_s, key in checked
        if key.curve is not None and not (on_the_way_up and key.curve.up_newton is None)
    ]
    if not told:
        return None
    curves = [curve for _, _, curve in told]
    beds = [value for _, key, _ in told if (value := key["bed_contact"].value) is not None]
    way = common_way(curves, min(beds, default=np.inf), STEP_MM)
    forces = forces_on(curves, way, "up" if on_the_way_up else "down")
    drifts = [
        drift_of([CheckedAgain(key.key, time_s, force) for (time_s, key, _), force in zip(told, at_place, strict=True)])
        for at_place in forces.T.tolist()
    ]
    slopes = [drift.per_hour for drift in drifts if drift is not None]
    if len(slopes) < len(way):
        return None
    per_hour, u_per_hour = np.array([slope.value for slope in slopes]), np.array([slope.u for slope in slopes])
    return CurveDrift(way, per_hour, u_per_hour, slopes[0].dof)


def _settled(curve: Curve, hours: float, down: CurveDrift, up: CurveDrift | None) -> Curve:
    def on_the_curve(drift: CurveDrift, values: FloatArray) -> FloatArray:
        return -hours * np.interp(curve.way_mm, drift.way_mm, values)

    upward = None if up is None or curve.up_newton is None else (up, curve.up_newton)
    return replace(
        curve,
        down_newton=curve.down_newton + on_the_curve(down, down.per_hour),
        up_newton=curve.up_newton if upward is None else upward[1] + on_the_curve(upward[0], upward[0].per_hour),
        drift_left=DriftLeft(
            on_the_curve(down, down.u_per_hour),
            None if upward is None else on_the_curve(upward[0], upward[0].u_per_hour),
            down.dof,
        ),
    )
