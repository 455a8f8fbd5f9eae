"""Check keys measured again, looked at in two ways: as values of keys within recordings, and as means of recordings.

How it works: within recordings a value hangs on its key and on what its recording is off by as a whole; then the drift
is how the same keys lie one after the other, and the keyboard's own recording is off by its distance from the mean of
all. Among means of recordings only time is left; then the keyboard's own is off by its distance from their line.
Whether recordings lie on one line at all is asked by an F test, and how much they differ beyond a drift is what makes
the sum of squares that is seen the expected one.
Sources: two-way layout with a covariate, nested models: any textbook of linear models; recordings as groups: GUM (JCGM
100:2008) H.5; what groups differ by: fitting constants, C. R. Henderson, Biometrics 9:226, 1953 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from scipy.special import fdtrc

from processing.stages import FloatArray
from processing.statistics.correlated import Estimate
from processing.statistics.drift_fit import Fit, Seen, powers_of_time, rounding
from recordings.keys import Key

SECONDS_PER_HOUR = 3600.0
OWN = 0
"""Number of the keyboard's own recording."""


@dataclass(frozen=True, slots=True)
class CheckedAgain:
    """One measurement of a check key: its value at a time of the sitting."""

    key: Key
    recording: int
    """Which recording it is of: OWN, or any number that the others do not have."""
    time_s: float
    value: float


def hanging_together(checks: Sequence[CheckedAgain]) -> list[CheckedAgain]:
    """Return the checks that the keyboard's own recording can be held against, over keys that recordings share; none
    without it."""
    recordings, keys = {OWN}, set[Key]()
    while True:
        found = {check.key for check in checks if check.recording in recordings}
        reached = {check.recording for check in checks if check.key in found} | {OWN}
        if (found, reached) == (keys, recordings):
            return [check for check in checks if check.recording in recordings]
        keys, recordings = found, reached


def within_recordings(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> Seen:
    """Return the checks as values that hang on their key and on their recording, the keyboard's own among them."""
    by_key, by_recording = _by_key(checks), _by_recording(checks)
    held = np.hstack([by_key, by_recording])
    against_mean = np.full(by_recording.shape[1], -1.0 / by_recording.shape[1])
    against_mean[0] += 1.0
    whole = np.concatenate([np.zeros(by_key.shape[1]), against_mean]) @ np.linalg.pinv(held)
    values = np.array([check.value for check in checks])
    return Seen(values, _hours(checks, sitting_s), held, whole, 1, _least_scatter(checks))


def from_recording_to_recording(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> Seen | None:
    """Return the means of recordings, over the keys that all of them hold; None: there is none."""
    recordings = _recordings(checks)
    common = set.intersection(*({check.key for check in checks if check.recording == one} for one in recordings))
    if not common:
        return None
    of_each = [[check for check in checks if check.recording == one and check.key in common] for one in recordings]
    values = np.array([np.mean([check.value for check in some]) for some in of_each])
    hours = np.array([np.mean(_hours(some, sitting_s)) for some in of_each])
    whole = np.full(len(recordings), -1.0 / len(recordings))
    whole[0] += 1.0
    least = _least_scatter(checks) / sqrt(len(common))
    return Seen(values, hours, np.ones((len(recordings), 1)), whole, len(common), least)


def differing(checks: Sequence[CheckedAgain], seen: Seen, apart: Fit) -> tuple[float, Estimate]:
    """Return the probability that recordings which drift alike and are not off as a whole lie so unevenly, and what
    each is off by: 0, its standard deviation, and how many degrees of freedom tell that.

    apart: the fit of the checks within recordings, in which these may be off.
    """
    alike, degree = replace(seen, held=_by_key(checks)), len(apart.coefficients)
    together = powers_of_time(alike, degree)
    assert together is not None
    more, by_chance = together.dof - apart.dof, apart.square / apart.dof
    square = max(0.0, together.square - apart.square)
    powers = seen.hours[:, None] ** np.arange(1, degree + 1)
    own = replace(alike, held=np.hstack([alike.held, powers])).free_of_held(_by_recording(checks))
    acting = own.T @ own
    weight, dof = float(np.trace(acting)), float(np.trace(acting) ** 2 / np.sum(acting**2))
    differ = Estimate(0.0, sqrt(max(0.0, square - more * by_chance) / weight), dof)
    if together.square == 0.0:
        return 1.0, differ
    return float(fdtrc(more, apart.dof, square / more / by_chance)) if by_chance else 0.0, differ


def _recordings(checks: Sequence[CheckedAgain]) -> list[int]:
    """Return the recordings, the keyboard's own first."""
    return sorted({check.recording for check in checks}, key=lambda number: (number != OWN, number))


def _hours(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> FloatArray:
    """Return the times in hours from the middle of the sitting."""
    return (np.array([check.time_s for check in checks]) - sum(sitting_s) / 2.0) / SECONDS_PER_HOUR


def _by_key(checks: Sequence[CheckedAgain]) -> FloatArray:
    keys = sorted({check.key for check in checks})
    return np.array([[check.key == key for key in keys] for check in checks], np.float64)


def _by_recording(checks: Sequence[CheckedAgain]) -> FloatArray:
    return np.array([[check.recording == one for one in _recordings(checks)] for check in checks], np.float64)


def _least_scatter(checks: Sequence[CheckedAgain]) -> float:
    """Return the standard uncertainty of a step (GUM 4.3.7) if values are read in steps, as rungs of a ladder; else 0.

    They are if a key's value comes again exactly; then they may fit a line exactly by chance. The step is the smallest
    by which a key's value has changed.
    """
    of_keys = [np.sort([check.value for check in checks if check.key == key]) for key in {c.key for c in checks}]
    changes = np.concatenate([np.diff(values) for values in of_keys])
    steps = changes[changes > rounding(np.concatenate(of_keys))]
    return float(steps.min()) / sqrt(12.0) if 0 < len(steps) < len(changes) else 0.0
