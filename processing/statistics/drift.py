"""Drift over the sitting, told apart from the keyboard by keys that were measured again.

How it works: a value is its key's level, plus what its recording is off by as a whole (zero, touch, warmth), plus the
drift since the middle of the sitting; all by least squares. So recordings of check keys tell the keys' levels, and the
drift is how far the same keys lie from these levels one after the other within the keyboard's own recording: neither
what recordings differ by nor where the drift went between them makes its uncertainty wrong. If the recordings may not
lie on the same straight line in time, which does not hang on the bend in the keyboard's own, a parabola takes the
straight line's place there. Where check keys follow each other too closely for that, their means from recording to
recording tell the drift, with the scatter of these means about the line: what recordings differ by is in it, but a bend
is then only told, not taken out. Values of other keys are brought to the drift's average over the sitting, which is its
middle if it is straight, and to what all recordings show on average, for the keyboard's own may be off as a whole like
any other. Slope and bend are lines of their budgets, which act on a key by the hours between, the slope one way on the
first and the other way on the last; so is what the recording is off by, and what their average is unsure by because
recordings differ, which act on all alike.
Without check keys a drift cannot be told from a trend of the keyboard, for keys are measured from one end to the other.
Sources: see `checked_again.py` and `drift_fit.py`; when to bend is our own and held against simulation (tests, `make
error-rates`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import inf, sqrt
from typing import Literal

import numpy as np
from scipy.special import fdtrc

from processing.budget.lines import Correction, Correlation, Line
from processing.stages import FloatArray
from processing.statistics.checked_again import (
    SECONDS_PER_HOUR,
    CheckedAgain,
    differing,
    from_recording_to_recording,
    hanging_together,
    within_recordings,
)
from processing.statistics.correlated import Estimate
from processing.statistics.drift_fit import FEWEST_DOF, Fit, powers_of_time, where_recordings_differ

SITTING, BEND = "drift over the sitting", "bend of the drift over the sitting"
WHOLE, DIFFER = "what the recording is off by as a whole", "what recordings differ by as a whole"
BENT_AT = 0.2
"""Probability by chance under which recordings may not lie on a straight line: so lenient because a bend that is
overlooked makes intervals wrong, and one that is allowed for in vain only wide."""
TIMES_AS_UNSURE = 3.0
"""By so much may the keyboard's own recording be less sure of a straight drift than means of recordings are."""
MOST_MAGNIFIED = 10.0
"""What the drift from first to last key may be unsure by, in repeatabilities: checks nearly at one time are worse."""
FEWEST_RECORDINGS = 3
"""The keyboard's own among them: of two nobody knows by how much recordings differ."""
NOTHING = Estimate(0.0, 0.0, inf)
Untold = Literal["too few", "at one time"]
"""Why checks tell no drift."""


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A common drift of one measurand, in its unit: straight, or a parabola."""

    fit: Fit
    hours: tuple[float, float]
    """First and last key of the keyboard, from the middle of the sitting."""
    p_straight: float | None
    """Probability that recordings on a straight line, not off as a whole, lie so unevenly; where each is a mean alone,
    that means on a line do; None: not to be tested."""
    differ: Estimate
    """What a recording is off by as a whole beyond this drift: 0, by how much recordings differ, and how many tell."""
    recordings: int
    within: bool
    """The keyboard's own recording tells it; else means from recording to recording."""

    @property
    def bent(self) -> bool:
        """Whether a bend is allowed for."""
        return len(self.fit.coefficients) > 1

    @property
    def dof(self) -> float:
        """Degrees of freedom of slope, bend and what the keyboard's own recording is off by."""
        return self.fit.dof

    @property
    def p(self) -> float:
        """Probability of so much drift by chance."""
        drift, covariance = self.fit.coefficients, self.fit.covariance
        if not np.any(drift) or not np.any(covariance):  # that values never scatter proves no drift
            return 1.0
        ratio = float(drift @ np.linalg.solve(covariance[:-1, :-1], drift)) / len(drift)
        return float(fdtrc(len(drift), self.dof, ratio))

    @property
    def per_hour(self) -> Estimate:
        """Slope in the middle of the sitting."""
        return Estimate(float(self.fit.coefficients[0]), sqrt(float(self.fit.covariance[0, 0])), self.dof)

    @property
    def whole(self) -> Estimate:
        """By how much the keyboard's own recording lies over what all show on average."""
        return Estimate(self.fit.whole, sqrt(float(self.fit.covariance[-1, -1])), self.dof)

    def between(self, first: float, last: float) -> Estimate:
        """Return how much it drifted between two times, in hours from the middle of the sitting."""
        change = self.acting(last) - self.acting(first)
        change_u = sqrt(float(change @ self.fit.covariance @ change))
        return Estimate(float(change[:-1] @ self.fit.coefficients), change_u, self.dof)

    def lines(self, unit: str, hours: float) -> tuple[Line, ...]:
        """Return what drift and recordings give to the budget of a number in `unit` that is so many hours late."""
        units = (f"{unit}/h", f"{unit}/h²")[: len(self.fit.coefficients)]
        us = np.sqrt(np.diag(self.fit.covariance))
        told = tuple(
            Line(name=name, kind="A", distribution="t", u=float(u), unit=of, dof=self.dof, sensitivity=-float(acting))
            for name, of, u, acting in zip(self._names, (*units, unit), us, self.acting(hours), strict=True)
        )
        if not self.differ_u:
            return told
        return *told, Line(name=DIFFER, kind="A", distribution="t", u=self.differ_u, unit=unit, dof=self.differ.dof)

    @property
    def differ_u(self) -> float:
        """What the average of all recordings is unsure by because they differ; among means their line tells it."""
        return self.differ.u / sqrt(self.recordings) if self.within else 0.0

    @property
    def correlations(self) -> tuple[Correlation, ...]:
        """How the lines err together."""
        us = np.sqrt(np.diag(self.fit.covariance))
        return tuple(
            Correlation(self._names[a], self._names[b], float(np.clip(r, -1.0, 1.0)))
            for a, b in combinations(range(len(us)), 2)
            if us[a] * us[b] > 0.0 and (r := self.fit.covariance[a, b] / (us[a] * us[b]))
        )

    def corrections(self, hours: float) -> tuple[Correction, ...]:
        """Return what is added to a number that was measured so many hours too late, one for each line."""
        amounts = -self.acting(hours) * [*self.fit.coefficients, self.fit.whole]
        return tuple(Correction(name, float(amount)) for name, amount in zip(self._names, amounts, strict=True))

    def acting(self, hours: float) -> FloatArray:
        """Return what slope, bend and the whole are multiplied with; drift is 0 on average over the whole sitting."""
        powers = (hours, hours**2 - self.hours[1] ** 2 / 3.0)[: len(self.fit.coefficients)]
        return np.array([*powers, 1.0])

    @property
    def _names(self) -> tuple[str, ...]:
        return (*(SITTING, BEND)[: len(self.fit.coefficients)], WHOLE)


def drift_of(
    checks: Sequence[CheckedAgain], sitting_s: tuple[float, float], *, bent_at: float = BENT_AT
) -> Drift | Untold:
    """Return the drift that check keys tell of a keyboard whose first and last key were recorded at these times.

    bent_at: it may be bent if a straight one has less than this probability; 0 never, over 1 wherever that can be told.
    Needs the keyboard's own recording among them and two more, and (keys - 1)(recordings - 1) >= 3 or four recordings.
    """
    checks = hanging_together(checks)
    recordings = len({check.recording for check in checks})
    if recordings < FEWEST_RECORDINGS:
        return "too few"
    own, other = within_recordings(checks, sitting_s), from_recording_to_recording(checks, sitting_s)
    if max(own.dof, other.dof if other is not None else 0) < FEWEST_DOF:
        return "too few"
    last = (sitting_s[1] - sitting_s[0]) / 2.0 / SECONDS_PER_HOUR
    surer = other is not None and own.half_width > TIMES_AS_UNSURE * other.half_width
    apart = powers_of_time(own, 1) if own.hour_u < inf else None
    tells = apart is not None and own.dof >= FEWEST_DOF and 2.0 * last * own.hour_u <= MOST_MAGNIFIED
    p, differ = (None, NOTHING) if apart is None else differing(checks, own, apart)
    by_means = surer and not (tells and p is not None and p < bent_at)  # no line through means where they lie on none
    seen = other if other is not None and by_means else own
    if seen.dof < FEWEST_DOF or seen.hour_u == inf or 2.0 * last * seen.hour_u > MOST_MAGNIFIED:
        return "at one time"
    straight, bent = powers_of_time(seen, 1), powers_of_time(seen, 2)
    if straight is None:
        return "at one time"
    if by_means or p is None:
        line = where_recordings_differ(straight, seen)
        p_line = _p_of_bend(bent) if p is None else p
        return Drift(line, (-last, last), p_line, differ, recordings, within=False)
    if bent is None or bent.dof < FEWEST_DOF or p >= bent_at:
        return Drift(straight, (-last, last), p, differ, recordings, within=True)
    return Drift(bent, (-last, last), p, differing(checks, own, bent)[1], recordings, within=True)


def drift_bound(drift: Drift, coverage: float = 0.95) -> float:
    """Return how much the drift may have made from the first key to the last, at most, in the measurand's unit."""
    times = np.linspace(*drift.hours, 2 if not drift.bent else 9)
    changes = [drift.between(a, b) for place, a in enumerate(times) for b in times[place + 1 :]]
    return max(abs(change.value) + change.expanded(coverage) for change in changes)


def _p_of_bend(bent: Fit | None) -> float | None:
    """Return the probability of such a bend by chance; None: nothing is left over to tell."""
    if bent is None:
        return None
    bend, variance = float(bent.coefficients[1]), float(bent.covariance[1, 1])
    return 1.0 if variance == 0.0 else float(fdtrc(1.0, bent.dof, bend**2 / variance))
