"""Every choice of the comparison with unit, default and reason."""

from __future__ import annotations

from dataclasses import dataclass, field

from processing.statistics.settings import StatisticsSettings


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonSettings:
    """How keyboards are compared."""

    alpha: float = 0.05
    """Over all tests of one comparison together (Holm), and of every test of equivalence."""
    coverage: float = 0.95
    """Of intervals; of all bands over the travel together."""
    curve_step_mm: float = 0.05
    """Distance of the points of a band: under half the kernel's width, so nothing is lost between them."""
    band_draws: int = 4000
    """Of the greatest deviation over the travel: beyond the quantile of six bands lie 33 of them."""
    seed: int = 20260101
    statistics: StatisticsSettings = field(default_factory=StatisticsSettings)
    """For trends and scatters."""
