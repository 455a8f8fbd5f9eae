"""One value against its limits: pass, fail or cannot tell, and how likely that is wrong.

How it works: what is known of the true value is value + u * t(dof), so the probability that it lies within the limits
is a difference of two of its probabilities. A guard band is the way in from a limit (guarded acceptance), or out from
it (guarded rejection), at which the probability of erring has come down to the stated risk; both limits count, so in a
narrow tolerance it is wider or narrower than u times the one-sided quantile.
Nothing is proved to be outside by a value within the limits: where u is as wide as the tolerance, that is "cannot tell"
under guarded acceptance and a pass under guarded rejection, however improbable conformity is.
Sources: JCGM 106:2012, 7 (conformance probability), 8 (rules and guard bands); three zones: ISO 14253-1:2017. Read in
our own notes of them (reference/gum/decision_rules.md), not in the standards' text.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy.optimize import brentq
from scipy.special import ndtr, ndtri, stdtr, stdtrit

Rule = Literal["simple acceptance", "guarded acceptance", "guarded rejection"]
Outcome = Literal["pass", "fail", "cannot tell"]
NORMAL_FROM_DOF = 1000.0
"""From here on t is taken for normal: its quantiles differ by less than 0.2 %."""
LARGEST_RISK = 0.5
"""A rule that lets more than every second decision be wrong is no rule."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What is said of one value, and what is behind it."""

    outcome: Outcome
    conforming: float
    """Probability that the true value is within the limits."""
    wrong: float
    """Probability that the outcome is wrong: of a pass, that the truth lies outside; of a fail, that it lies within;
    of "cannot tell", the smaller of both."""
    guard: float
    """Width of the guard band in force, in the value's unit; 0 for simple acceptance. Half of the distance between the
    limits where no value at all could pass."""


def decide(
    value: float, u: float, dof: float, *, lower: float | None, upper: float | None, rule: Rule, risk: float
) -> Decided:
    """Return pass, fail or cannot tell for a value of standard uncertainty u with dof degrees of freedom.

    lower, upper: limits in the value's unit, themselves allowed; None: no limit on that side. risk: of the guarded
    rules, above 0 and at most 0.5; simple acceptance does not use it. Guarded acceptance passes where the probability
    of being outside is at most the risk, and fails where that of being within is; guarded rejection fails only there.
    Raises ValueError for a value or uncertainty that is no number, and for limits or a risk that make no sense.
    >>> decide(13.6, 1.8, 1e9, lower=12.5, upper=16.3, rule="simple acceptance", risk=0.05).outcome
    'pass'
    """
    _check(value, u, dof, risk)
    conforming = conforming_probability(value, u, dof, lower=lower, upper=upper)
    within = (lower is None or value >= lower) and (upper is None or value <= upper)
    outcome = _outcome(conforming, rule, risk, within=within)
    wrong = {"pass": 1.0 - conforming, "fail": conforming}.get(outcome, min(conforming, 1.0 - conforming))
    return Decided(outcome, conforming, wrong, guard_band(u, dof, lower=lower, upper=upper, rule=rule, risk=risk))


def conforming_probability(value: float, u: float, dof: float, *, lower: float | None, upper: float | None) -> float:
    """Return the probability that the true value lies within the limits (JCGM 106, 7.2 to 7.4).

    >>> round(conforming_probability(-5.47, 0.05, 1e9, lower=None, upper=-5.4), 2)
    0.92
    """
    _check_limits(lower, upper)
    lowest = -math.inf if lower is None else lower
    highest = math.inf if upper is None else upper
    if u == 0.0:
        return 1.0 if lowest <= value <= highest else 0.0
    below, above = (lowest - value) / u, (highest - value) / u
    if below > 0.0:  # by symmetry: small probabilities keep their digits only in the lower tail
        below, above = -above, -below
    return max(0.0, _probability_below(above, dof) - _probability_below(below, dof))


def guard_band(u: float, dof: float, *, lower: float | None, upper: float | None, rule: Rule, risk: float) -> float:
    """Return the width of the guard band, at least 0: from each limit inward, or outward for guarded rejection."""
    _check_limits(lower, upper)
    if rule == "simple acceptance" or u == 0.0:
        return 0.0
    one_sided = u * _quantile(1.0 - risk, dof)
    if lower is None or upper is None:
        return one_sided
    width = upper - lower
    if rule == "guarded acceptance":
        return _inward(width, u, dof, risk)
    return _outward(width, u, dof, risk, one_sided)


def acceptance_limits(
    u: float, dof: float, *, lower: float | None, upper: float | None, rule: Rule, risk: float
) -> tuple[float, float] | None:
    """Return the lowest and highest value that pass, infinite without a limit; None: none does."""
    guard = guard_band(u, dof, lower=lower, upper=upper, rule=rule, risk=risk)
    inward = -guard if rule == "guarded rejection" else guard
    lowest = -math.inf if lower is None else lower + inward
    highest = math.inf if upper is None else upper - inward
    if lower is not None and upper is not None and rule == "guarded acceptance":
        middle = conforming_probability((lower + upper) / 2.0, u, dof, lower=lower, upper=upper)
        if 1.0 - middle > risk:
            return None
    return lowest, highest


def _outcome(conforming: float, rule: Rule, risk: float, *, within: bool) -> Outcome:
    if rule == "simple acceptance":
        return "pass" if within else "fail"
    proved_outside = not within and conforming <= risk
    if rule == "guarded rejection":
        return "fail" if proved_outside else "pass"
    if within and 1.0 - conforming <= risk:
        return "pass"
    return "fail" if proved_outside else "cannot tell"


def _inward(width: float, u: float, dof: float, risk: float) -> float:
    """Return how far within two limits a value must lie so that the truth is outside with probability `risk`."""

    def too_risky(guard: float) -> float:
        return 1.0 - conforming_probability(guard, u, dof, lower=0.0, upper=width) - risk

    if too_risky(width / 2.0) >= 0.0:
        return width / 2.0
    return float(brentq(too_risky, 0.0, width / 2.0, xtol=1e-12 * u)) if too_risky(0.0) > 0.0 else 0.0


def _outward(width: float, u: float, dof: float, risk: float, one_sided: float) -> float:
    """Return how far outside two limits a value must lie so that the truth is within with probability `risk`."""

    def too_risky(guard: float) -> float:
        return conforming_probability(-guard, u, dof, lower=0.0, upper=width) - risk

    if too_risky(0.0) <= 0.0:
        return 0.0
    return float(brentq(too_risky, 0.0, one_sided * (1.0 + 1e-9), xtol=1e-12 * u))


def _probability_below(distance: float, dof: float) -> float:
    return float(ndtr(distance) if dof >= NORMAL_FROM_DOF else stdtr(dof, distance))


def _quantile(probability: float, dof: float) -> float:
    return float(ndtri(probability) if dof >= NORMAL_FROM_DOF else stdtrit(dof, probability))


def _check(value: float, u: float, dof: float, risk: float) -> None:
    if not math.isfinite(value) or not math.isfinite(u) or u < 0.0:
        raise ValueError(f"a value of {value} with the standard uncertainty {u} cannot be judged: give finite numbers")
    if not dof > 0.0:
        raise ValueError(f"{dof} degrees of freedom say nothing about an uncertainty: give more than 0")
    if not 0.0 < risk <= LARGEST_RISK:
        raise ValueError(f"a risk of {risk} is none to decide by: give more than 0 and at most {LARGEST_RISK}")


def _check_limits(lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise ValueError("there is neither a lower nor an upper limit: give one at least")
    if lower is not None and upper is not None and lower > upper:
        raise ValueError(f"the lower limit {lower} is above the upper limit {upper}: exchange them")
