"""What a rule does to a whole run of keys: how many bad ones it lets through, how many good ones it turns away.

How it works: the true values come from a process, the measured ones lie about them with the standard uncertainty u.
Both shares are integrals over the process, cut at every place where the integrand bends or jumps, so that each piece is
smooth and the quadrature is exact to ten digits.
Source: JCGM 106:2012, 9.3 to 9.5 (global risks).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from scipy.integrate import quad
from scipy.special import ndtr

FAR_TAIL = 1e-13
"""Of the process; what lies beyond is left out on either side."""
EDGE_IN_US = (-8.0, -4.0, 0.0, 4.0, 8.0)
"""Where the integrals are cut about an acceptance limit: beyond 8 u acceptance is certain or impossible to 1e-15."""


class Process(Protocol):
    """How true values are distributed; the frozen distributions of scipy.stats are such."""

    def pdf(self, x: float, /) -> float:
        """Return the density."""

    def cdf(self, x: float, /) -> float:
        """Return the probability of at most x."""

    def ppf(self, q: float, /) -> float:
        """Return the value below which a share q lies."""


@dataclass(frozen=True, slots=True)
class GlobalRisks:
    """Shares of all that is measured."""

    consumer: float
    """Accepted although the true value is outside the limits."""
    producer: float
    """Not accepted although the true value is within."""
    conforming: float
    """True value within the limits."""

    @property
    def accepted(self) -> float:
        """All that is accepted."""
        return self.conforming - self.producer + self.consumer

    @property
    def wrong_among_accepted(self) -> float:
        """Share of the accepted whose true value is outside; 0 if nothing is accepted."""
        return self.consumer / self.accepted if self.accepted > 0.0 else 0.0


def global_risks(
    mean: float,
    sd: float,
    u: float,
    *,
    lower: float | None,
    upper: float | None,
    accept_lower: float | None,
    accept_upper: float | None,
) -> GlobalRisks:
    """Return the risks for a normal process of a mean and standard deviation, measured with u > 0.

    lower, upper: limits of the true value; accept_lower, accept_upper: between which a measured one is accepted (see
    `acceptance_limits`). All in one unit; None: no limit on that side.
    """
    from scipy.stats import norm

    return risks_of_process(
        norm(mean, sd), u, lower=lower, upper=upper, accept_lower=accept_lower, accept_upper=accept_upper
    )


def risks_of_process(
    process: Process,
    u: float,
    *,
    lower: float | None,
    upper: float | None,
    accept_lower: float | None,
    accept_upper: float | None,
) -> GlobalRisks:
    """Return the risks for a process of any continuous distribution; else as `global_risks`."""
    if not u > 0.0:
        raise ValueError(f"an uncertainty of {u} makes no wrong decisions: give more than 0")
    least, most = _ends(lower, upper)
    accept_least, accept_most = _ends(accept_lower, accept_upper)

    def accepted(true: float) -> float:
        return float(process.pdf(true) * (ndtr((accept_most - true) / u) - ndtr((accept_least - true) / u)))

    def turned_away(true: float) -> float:
        return float(process.pdf(true) * (ndtr((true - accept_most) / u) + ndtr((accept_least - true) / u)))

    edges = [limit + step * u for limit in (accept_least, accept_most) for step in EDGE_IN_US]
    start, end = float(process.ppf(FAR_TAIL)), float(process.ppf(1.0 - FAR_TAIL))
    return GlobalRisks(
        consumer=_integral(accepted, start, least, edges) + _integral(accepted, most, end, edges),
        producer=_integral(turned_away, max(start, least), min(end, most), edges),
        conforming=float(process.cdf(most) - process.cdf(least)),
    )


def _ends(lower: float | None, upper: float | None) -> tuple[float, float]:
    return -math.inf if lower is None else lower, math.inf if upper is None else upper


def _integral(function: Callable[[float], float], start: float, end: float, edges: list[float]) -> float:
    """Return the integral from start to end, 0 if there is no way between, cut at the edges in between."""
    if end <= start:
        return 0.0
    cuts = [start, *sorted(edge for edge in set(edges) if start < edge < end), end]
    return float(sum(quad(function, left, right, epsabs=1e-12)[0] for left, right in pairwise(cuts)))
