"""Every choice of the gauge studies with unit, default and reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GaugeSettings:
    """How crossed studies are read and judged."""

    coverage: float = 0.95
    """Of every interval."""
    pool_alpha: float = 0.25
    """An interaction with a larger p is counted as repeatability: common practice. The usual example (p = 0.97) does
    not tell this level from 0.05; 0.25 pools less readily."""
    fit_percent: float = 10.0
    """Common practice: up to here the gauge takes so little of the tolerance that nobody need think of it."""
    unfit_percent: float = 30.0
    """Common practice: beyond it the gauge decides as much as the key; between the two: fit with caution."""
    tolerance_sigmas: float = 6.0
    """Common practice: the width of a gauge, held against a tolerance of two limits; half of it against one limit."""
    categories_factor: float = 1.41
    """Of distinct categories: square root of 2 as it is printed in the usual example."""
    fewest_categories: int = 5
    """Common practice: with fewer, a gauge only sorts keys into heaps."""
    draws: int = 20_000
    """Of the interval of a share; its ends are then sure to about 1 % of their distance."""
    seed: int = 1
    """Of these draws: the same readings give the same interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BiasSettings:
    """How bias and linearity are read."""

    coverage: float = 0.95
    """Of every interval."""
    alpha: float = 0.05
    """Of each test: a bias or slope is called sure below it. Common practice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StabilitySettings:
    """How a check standard is watched; e-Handbook 2.2.2 and 2.6.2."""

    baseline: int = 20
    """Days from which the limits are made and then frozen; common practice."""
    fewest: int = 8
    """With fewer days of baseline nothing is judged: the spread itself is then known to a third at best."""
    sigmas: float = 3.0
    """Limits of the daily mean: one false alarm in a year of working days. The e-Handbook's example takes 2."""
    alpha: float = 0.05
    """Of the F test that holds a day's own spread against the baseline's; as in the e-Handbook's example."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InterlaboratorySettings:
    """How several rigs are held against each other; ASTM E691, ISO 5725-2."""

    consistency_alpha: float = 0.005
    """Of h (both sides together) and k: ASTM E691 looks at half a percent."""
    outlier_alpha: float = 0.01
    """Of Cochran's and Grubbs' tests, over all rigs at a level: ISO 5725-2 calls what lies beyond it an outlier."""
    limit_factor: float = 2.8
    """1.96 times the square root of 2, as ASTM E691 prints it: two results differ by more in one of 20 cases."""
