"""Drift over the sitting, told apart from the keyboard by keys that were measured again.

How it works: a value is its key's level, plus what its recording is off by as a whole (zero, touch, warmth), plus the
drift since the middle of the sitting; all by least squares. So recordings of check keys tell the keys' levels, and the
drift is how far the same keys lie from these levels one after the other within the keyboard's own recording: neither
what recordings differ by nor where the drift went between them makes its uncertainty wrong. Whether the recordings
themselves lie on the same straight line in time is asked by an F test, whose answer does not hang on the bend in the
keyboard's own recording; if they may not, a parabola takes the straight line's place there. Where check keys follow
each other too closely for that, their means from recording to recording tell the drift, with the scatter of these means
about the line: what recordings differ by is in it, but a bend is then only told, not taken out. Values of other keys
are brought to the drift's average over the sitting, which is its middle if it is straight; slope and bend are lines of
their budgets, and act on a key by the hours between, the slope one way on the first and the other way on the last.
Without check keys a drift cannot be told from a trend of the keyboard, for keys are measured from one end to the other.
Sources: two-way layout with a covariate, nested models: any textbook of linear models; recordings as groups: GUM (JCGM
100:2008) H.5; when to bend is our own and held against simulation (tests, `make error-rates`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt
from typing import Literal

import numpy as np
from scipy.special import fdtrc

from processing.budget.lines import Correction, Correlation, Line
from processing.stages import FloatArray
from processing.statistics.correlated import Estimate
from processing.statistics.drift_fit import FEWEST_DOF, Fit, Seen, powers_of_time, rounding
from recordings.keys import Key

SECONDS_PER_HOUR = 3600.0
SITTING, BEND = "drift over the sitting", "bend of the drift over the sitting"
BENT_AT = 0.2
"""Probability by chance under which recordings may not lie on a straight line: so lenient because a bend that is
overlooked makes intervals wrong, and one that is allowed for in vain only wide."""
TIMES_AS_UNSURE = 3.0
"""By so much may the keyboard's own recording be less sure of a straight drift than means of recordings are."""
MOST_MAGNIFIED = 10.0
"""What the drift from first to last key may be unsure by, in repeatabilities: checks nearly at one time are worse."""
Untold = Literal["too few", "at one time"]
"""Why checks tell no drift."""


@dataclass(frozen=True, slots=True)
class CheckedAgain:
    """One measurement of a check key: its value at a time of the sitting."""

    key: Key
    recording: int
    """Which recording it is of; any number that the others do not have."""
    time_s: float
    value: float


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A common drift of one measurand, in its unit: straight, or a parabola."""

    coefficients: FloatArray
    """Slope in the middle of the sitting, per hour; where it may be bent also the bend, per square hour."""
    covariance: FloatArray
    dof: float
    hours: tuple[float, float]
    """First and last key of the keyboard, from the middle of the sitting."""
    p_straight: float | None
    """Probability that recordings on a straight line, not off as a whole, lie so unevenly; None: not to be tested."""
    recordings_differ: float
    """Standard deviation of what recordings are off by as a whole, if the drift is straight."""
    within: bool
    """The keyboard's own recording tells it; else means from recording to recording."""

    @property
    def bent(self) -> bool:
        """Whether a bend is allowed for."""
        return len(self.coefficients) > 1

    @property
    def p(self) -> float:
        """Probability of so much drift by chance."""
        if not np.any(self.coefficients) or not np.any(self.covariance):  # that values never scatter proves no drift
            return 1.0
        count = len(self.coefficients)
        ratio = float(self.coefficients @ np.linalg.solve(self.covariance, self.coefficients)) / count
        return float(fdtrc(count, self.dof, ratio))

    @property
    def per_hour(self) -> Estimate:
        """Slope in the middle of the sitting."""
        return Estimate(float(self.coefficients[0]), sqrt(float(self.covariance[0, 0])), self.dof)

    def between(self, first: float, last: float) -> Estimate:
        """Return how much it drifted between two times, in hours from the middle of the sitting."""
        change = self.powers(last) - self.powers(first)
        return Estimate(float(change @ self.coefficients), sqrt(float(change @ self.covariance @ change)), self.dof)

    def lines(self, unit: str, hours: float) -> tuple[Line, ...]:
        """Return what the drift gives to the budget of a number in `unit` that was measured so many hours too late."""
        return tuple(
            Line(
                name=name, kind="A", distribution="t", u=sqrt(float(variance)), unit=f"{unit}/{per}", dof=self.dof,
                sensitivity=-float(power),
            )
            for name, per, variance, power in zip(
                (SITTING, BEND), ("h", "h²"), np.diag(self.covariance), self.powers(hours), strict=False
            )
        )  # fmt: skip

    @property
    def correlations(self) -> tuple[Correlation, ...]:
        """How the lines err together."""
        if not self.bent or not np.all(np.diag(self.covariance)):
            return ()
        slope, bend = np.sqrt(np.diag(self.covariance))
        return (Correlation(SITTING, BEND, float(np.clip(self.covariance[0, 1] / (slope * bend), -1.0, 1.0))),)

    def corrections(self, hours: float) -> tuple[Correction, ...]:
        """Return what is added to a number that was measured so many hours too late, one for each line."""
        amounts = -self.powers(hours) * self.coefficients
        return tuple(Correction(name, float(amount)) for name, amount in zip((SITTING, BEND), amounts, strict=False))

    def powers(self, hours: float) -> FloatArray:
        """Return what the coefficients are multiplied with; over the whole sitting each is 0 on average."""
        return np.array([hours, hours**2 - self.hours[1] ** 2 / 3.0])[: len(self.coefficients)]


def drift_of(
    checks: Sequence[CheckedAgain], sitting_s: tuple[float, float], *, bent_at: float = BENT_AT
) -> Drift | Untold:
    """Return the drift that check keys tell of a keyboard whose first and last key were recorded at these times.

    bent_at: it may be bent if a straight one has less than this probability; 0 never, over 1 wherever that can be told.
    Needs (keys - 1)(recordings - 1) >= 3, the keyboard's own recording among them, or four recordings.
    """
    ways = [_within_recordings(checks, sitting_s), _from_recording_to_recording(checks, sitting_s)]
    if max(way.dof for way in ways) < FEWEST_DOF:
        return "too few"
    own, other = ways
    seen = own if own.half_width <= TIMES_AS_UNSURE * other.half_width else other
    last = (sitting_s[1] - sitting_s[0]) / 2.0 / SECONDS_PER_HOUR
    if seen.dof < FEWEST_DOF or seen.hour_u == inf or 2.0 * last * seen.hour_u > MOST_MAGNIFIED:
        return "at one time"
    straight, bent = powers_of_time(seen, 1), powers_of_time(seen, 2)
    assert straight is not None
    if seen is other:
        return Drift(
            straight.coefficients, straight.covariance, straight.dof, (-last, last), _p_of_bend(bent), 0.0, False
        )
    p_straight, differ = _straightness(checks, seen, straight)
    fit = bent if bent is not None and bent.dof >= FEWEST_DOF and p_straight < bent_at else straight
    return Drift(fit.coefficients, fit.covariance, fit.dof, (-last, last), p_straight, differ, True)


def drift_bound(drift: Drift, coverage: float = 0.95) -> float:
    """Return how much the drift may have made from the first key to the last, at most, in the measurand's unit."""
    times = np.linspace(*drift.hours, 2 if not drift.bent else 9)
    changes = [drift.between(a, b) for place, a in enumerate(times) for b in times[place + 1 :]]
    return max(abs(change.value) + change.expanded(coverage) for change in changes)


def _hours(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> FloatArray:
    """Return the times in hours from the middle of the sitting."""
    return (np.array([check.time_s for check in checks]) - sum(sitting_s) / 2.0) / SECONDS_PER_HOUR


def _by_key(checks: Sequence[CheckedAgain]) -> FloatArray:
    keys = sorted({check.key for check in checks})
    return np.array([[check.key == key for key in keys] for check in checks], np.float64)


def _within_recordings(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> Seen:
    """Return the checks as values that hang on their key and on their recording."""
    recordings = sorted({check.recording for check in checks})
    off = np.array([[check.recording == one for one in recordings] for check in checks], np.float64)
    values = np.array([check.value for check in checks])
    return Seen(values, _hours(checks, sitting_s), np.hstack([_by_key(checks), off]), 1, _least_scatter(checks))


def _from_recording_to_recording(checks: Sequence[CheckedAgain], sitting_s: tuple[float, float]) -> Seen:
    """Return the means of recordings, over the keys that all of them hold."""
    recordings = sorted({check.recording for check in checks})
    held = [{check.key for check in checks if check.recording == one} for one in recordings]
    common = set.intersection(*held) if held else set()
    if not common:
        return Seen(np.zeros(0), np.zeros(0), np.zeros((0, 1)), 1, 0.0)
    of_each = [[check for check in checks if check.recording == one and check.key in common] for one in recordings]
    values = np.array([np.mean([check.value for check in some]) for some in of_each])
    hours = np.array([np.mean(_hours(some, sitting_s)) for some in of_each])
    least = _least_scatter(checks) / sqrt(len(common))
    return Seen(values, hours, np.ones((len(recordings), 1)), len(common), least)


def _least_scatter(checks: Sequence[CheckedAgain]) -> float:
    """Return the standard uncertainty of a step (GUM 4.3.7) if values are read in steps, as rungs of a ladder; else 0.

    They are if a key's value comes again exactly; then they may fit a line exactly by chance. The step is the smallest
    by which a key's value has changed.
    """
    of_keys = [np.sort([check.value for check in checks if check.key == key]) for key in {c.key for c in checks}]
    changes = np.concatenate([np.diff(values) for values in of_keys])
    steps = changes[changes > rounding(np.concatenate(of_keys))]
    return float(steps.min()) / sqrt(12.0) if 0 < len(steps) < len(changes) else 0.0


def _straightness(checks: Sequence[CheckedAgain], seen: Seen, straight: Fit) -> tuple[float, float]:
    """Return the probability that recordings which lie on the line and are not off as a whole lie so unevenly, and the
    standard deviation of what they are off by."""
    alike = replace(seen, held=_by_key(checks))
    together = powers_of_time(alike, 1)
    assert together is not None
    more = together.dof - straight.dof
    if together.square == 0.0:
        return 1.0, 0.0
    uneven, by_chance = max(0.0, together.square - straight.square) / more, straight.square / straight.dof
    differ = sqrt(max(0.0, uneven - by_chance) / alike.held.shape[1])
    return float(fdtrc(more, straight.dof, uneven / by_chance)) if by_chance else 0.0, differ


def _p_of_bend(bent: Fit | None) -> float | None:
    """Return the probability of such a bend by chance; None: nothing is left over to tell."""
    if bent is None:
        return None
    bend, variance = float(bent.coefficients[1]), float(bent.covariance[1, 1])
    return 1.0 if variance == 0.0 else float(fdtrc(1.0, bent.dof, bend**2 / variance))
