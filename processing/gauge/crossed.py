"""A crossed study: how much of what is read comes from the rig, from who works it, and from the keys themselves.

How it works: two-way analysis of variance with random parts, operators and their interaction. If the interaction's F
test is not significant (`pool_alpha`) it is counted as repeatability. Expected mean squares give the components of
variance; one that comes out negative is 0. Everything is linear in the mean squares, so that intervals follow from
`mean_squares.py`. Sources: AIAG, Measurement Systems Analysis, 4th ed. (terms and rules, from memory); Burdick, Borror
& Montgomery 2005 (intervals).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.gauge.mean_squares import Term, drawn_interval, interval, total
from processing.gauge.readings import Crossed
from processing.gauge.settings import GaugeSettings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Effect:
    """One row of the analysis of variance."""

    name: str
    sum_of_squares: float
    dof: int
    f: float | None = None
    """Against the interaction, or against what it was pooled into; the interaction against the repeats."""
    p: float | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares over degrees of freedom."""
        return self.sum_of_squares / self.dof


@dataclass(frozen=True, slots=True)
class Part:
    """One share of the spread, as a standard deviation in the readings' unit, with its interval."""

    name: str
    sd: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True, eq=False)
class GaugeStudy:
    """What a crossed study has shown of one measurand."""

    readings: Crossed
    anova: tuple[Effect, ...]
    """Part, operator, interaction, repeats; and `pooled` where the interaction was pooled."""
    pooled: bool
    parts: tuple[Part, ...]
    """repeatability (EV), reproducibility (AV), interaction, gauge (GRR), part (PV), total (TV)."""
    share: tuple[float, float, float]
    """GRR over TV with the lower and upper end of its interval."""
    categories: tuple[float, float, float]
    """Number of distinct categories, not cut to a whole number, with its interval; inf without any gauge spread."""
    settings: GaugeSettings

    def __getitem__(self, name: str) -> Part:
        return next(part for part in self.parts if part.name == name)

    def percent_of_total(self, name: str) -> float:
        """Return a part's standard deviation in percent of that of all readings."""
        whole = self["total"].sd
        return 100.0 * self[name].sd / whole if whole else 0.0


def study_of(readings: Crossed, settings: GaugeSettings | None = None) -> GaugeStudy:
    """Return the analysis of a crossed study."""
    chosen = settings or GaugeSettings()
    rows, pooled = _anova(readings, chosen.pool_alpha)
    squares = _squares(rows, pooled=pooled)
    parts = _parts(squares, readings.values.shape, pooled=pooled, coverage=chosen.coverage)
    share = _share(parts, squares, readings.values.shape, chosen)
    factor = chosen.categories_factor
    categories = (_categories(share[0], factor), _categories(share[2], factor), _categories(share[1], factor))
    return GaugeStudy(readings, rows, pooled, parts, share, categories, chosen)


def sums_of_squares(values: Array) -> tuple[Array, Array, Array, Array]:
    """Return the sums of squares of parts, operators, interaction and repeats.

    values: (..., parts, operators, trials); the sums have the shape of the dimensions before.
    """
    parts, operators, trials = values.shape[-3:]
    whole = values.mean(axis=(-3, -2, -1), keepdims=True)
    of_part = values.mean(axis=(-2, -1), keepdims=True) - whole
    of_operator = values.mean(axis=(-3, -1), keepdims=True) - whole
    cell = values.mean(axis=-1, keepdims=True)
    both = cell - whole - of_part - of_operator
    every = (-3, -2, -1)
    return (
        operators * trials * (of_part**2).sum(axis=every),
        parts * trials * (of_operator**2).sum(axis=every),
        trials * (both**2).sum(axis=every),
        ((values - cell) ** 2).sum(axis=every),
    )


def dofs(shape: Sequence[int]) -> tuple[int, int, int, int]:
    """Return the degrees of freedom of parts, operators, interaction and repeats of a block (p, o, r)."""
    parts, operators, trials = shape
    return parts - 1, operators - 1, (parts - 1) * (operators - 1), parts * operators * (trials - 1)


def _anova(readings: Crossed, pool_alpha: float) -> tuple[tuple[Effect, ...], bool]:
    names = ("part", "operator", "interaction", "repeats")
    sums, freedom = map(float, sums_of_squares(readings.values)), dofs(readings.values.shape)
    part, operator, both, repeats = (Effect(*row) for row in zip(names, sums, freedom, strict=True))
    both = _tested(both, repeats)
    assert both.p is not None
    pooled = both.p > pool_alpha
    rest = Effect("pooled", both.sum_of_squares + repeats.sum_of_squares, both.dof + repeats.dof)
    against = rest if pooled else both
    rows = (_tested(part, against), _tested(operator, against), both, repeats)
    return (*rows, rest) if pooled else rows, pooled


def _tested(effect: Effect, against: Effect) -> Effect:
    from scipy.stats import f

    if against.mean_square > 0.0:
        ratio = effect.mean_square / against.mean_square
    else:  # readings without any spread of their own: whatever differs is sure
        ratio = math.inf if effect.mean_square > 0.0 else 0.0
    return Effect(effect.name, effect.sum_of_squares, effect.dof, ratio, float(f.sf(ratio, effect.dof, against.dof)))


def _squares(rows: Sequence[Effect], *, pooled: bool) -> tuple[Term, ...]:
    names = ("part", "operator", "pooled") if pooled else ("part", "operator", "interaction", "repeats")
    by_name = {row.name: row for row in rows}
    return tuple(Term(1.0, by_name[name].mean_square, by_name[name].dof) for name in names)


def factors_of(shape: Sequence[int], *, pooled: bool) -> dict[str, tuple[float, ...]]:
    """Return each component of variance as factors of the mean squares.

    In the order part, operator, interaction, repeats; of a pooled study: part, operator, pooled.
    """
    p, o, r = shape
    per_part, per_operator = 1.0 / (o * r), 1.0 / (p * r)
    if pooled:
        return {
            "repeatability": (0.0, 0.0, 1.0),
            "reproducibility": (0.0, per_operator, -per_operator),
            "gauge": (0.0, per_operator, 1.0 - per_operator),
            "part": (per_part, 0.0, -per_part),
            "total": (per_part, per_operator, 1.0 - per_part - per_operator),
        }
    repeats = 1.0 - 1.0 / r
    return {
        "repeatability": (0.0, 0.0, 0.0, 1.0),
        "reproducibility": (0.0, per_operator, -per_operator, 0.0),
        "interaction": (0.0, 0.0, 1.0 / r, -1.0 / r),
        "gauge": (0.0, per_operator, (p - 1) * per_operator, repeats),
        "part": (per_part, 0.0, -per_part, 0.0),
        "total": (per_part, per_operator, 1.0 / r - per_part - per_operator, repeats),
    }


def terms_of(squares: Sequence[Term], factors: Sequence[float]) -> list[Term]:
    """Return the mean squares with these factors, without those that do not count."""
    return [Term(by, one.square, one.dof) for by, one in zip(factors, squares, strict=True) if by]


def _parts(squares: Sequence[Term], shape: Sequence[int], *, pooled: bool, coverage: float) -> tuple[Part, ...]:
    factors = factors_of(shape, pooled=pooled)
    variance = {name: max(float(total(terms_of(squares, by))), 0.0) for name, by in factors.items()}
    variance.setdefault("interaction", 0.0)
    variance["gauge"] = variance["repeatability"] + variance["reproducibility"] + variance["interaction"]
    variance["total"] = variance["gauge"] + variance["part"]
    found = []
    for name in ("repeatability", "reproducibility", "interaction", "gauge", "part", "total"):
        sd = math.sqrt(variance[name])
        if name not in factors:  # pooled: it is taken for nothing
            found.append(Part(name, 0.0, 0.0, 0.0))
            continue
        lower, upper = (math.sqrt(max(float(end), 0.0)) for end in interval(terms_of(squares, factors[name]), coverage))
        found.append(Part(name, sd, min(lower, sd), max(upper, sd)))
    return tuple(found)


def share_in(expected: Sequence[Array], shape: Sequence[int], *, pooled: bool) -> Array:
    """Return GRR over TV from expected mean squares (arrays of one shape); components below 0 are 0."""
    factors = factors_of(shape, pooled=pooled)

    def variance(name: str) -> Array:
        whole = sum(by * square for by, square in zip(factors[name], expected, strict=True))
        above: Array = np.maximum(np.asarray(whole, float), 0.0)
        return above

    names = [name for name in ("repeatability", "reproducibility", "interaction") if name in factors]
    gauge = np.asarray(sum(variance(name) for name in names))
    whole = gauge + variance("part")
    share: Array = np.sqrt(np.divide(gauge, whole, out=np.zeros_like(whole), where=whole > 0.0))
    return share


def _share(
    parts: Sequence[Part], squares: Sequence[Term], shape: Sequence[int], settings: GaugeSettings
) -> tuple[float, float, float]:
    sd = {part.name: part.sd for part in parts}
    here = sd["gauge"] / sd["total"] if sd["total"] else 0.0
    pooled = len(squares) == 3
    lower, upper = drawn_interval(
        squares,
        lambda expected: share_in(expected, shape, pooled=pooled),
        settings.coverage,
        draws=settings.draws,
        seed=settings.seed,
    )
    return here, min(float(lower), here), max(float(upper), here)


def _categories(share: float, factor: float) -> float:
    return factor * math.sqrt(max(1.0 / share**2 - 1.0, 0.0)) if share else math.inf
