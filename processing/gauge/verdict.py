"""Is the rig fit for these limits: a crossed study's spread, held against a tolerance or against the keys' own spread.

How it works: GRR in percent of the tolerance (six standard deviations of the gauge over the width; three over the
distance to a single limit), or, where no tolerance is known, of the total spread of the study. The limits of that
percentage are common practice (`settings.py`). The whole interval must bear the verdict out; where it does not, the
verdict is "cannot tell", and it is said which part of the study was too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from processing.gauge.bias_linearity import BiasStudy
from processing.gauge.crossed import GaugeStudy
from processing.gauge.settings import GaugeSettings

Fitness = Literal["fit", "fit with caution", "cannot tell", "unfit"]
ORDER: tuple[Fitness, ...] = ("fit", "fit with caution", "cannot tell", "unfit")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """The room that the limits leave."""

    width: float
    """From limit to limit; with one limit, from it to the mean of the readings."""
    sides: Literal[1, 2] = 2


@dataclass(frozen=True, slots=True)
class GaugeVerdict:
    """What is said of the rig for one measurand."""

    measurand: str
    unit: str
    study: GaugeStudy | None
    """None: it could not be analysed."""
    fitness: Fitness
    tolerance: Tolerance | None
    percent: tuple[float, float, float] | None
    """Of the tolerance, or of the total spread, with the ends of its interval."""
    by_estimate: Fitness
    """What common practice would say, which looks at the estimate alone."""
    why_not: str = ""
    """Why there is no study."""
    left_out: tuple[tuple[str, str], ...] = ()
    """Parts that could not be used, and why."""
    operators_p: tuple[float, int] | None = None
    """Of no difference between operators, as it is among so many measurands (Holm); None: it cannot be tested."""


def judge_study(
    measurand: str,
    unit: str,
    study: GaugeStudy,
    tolerance: Tolerance | None,
    *,
    left_out: tuple[tuple[str, str], ...] = (),
) -> GaugeVerdict:
    """Return the verdict of one measurand.

    tolerance: in the readings' unit; None: the spread of all readings stands for it.
    """
    settings = study.settings
    if tolerance is None:
        low, middle, high = study.share[1], study.share[0], study.share[2]
        factor = 100.0
    else:
        gauge = study["gauge"]
        low, middle, high = gauge.lower, gauge.sd, gauge.upper
        factor = 100.0 * settings.tolerance_sigmas * tolerance.sides / 2.0 / tolerance.width
    percent = (factor * middle, factor * low, factor * high)
    return GaugeVerdict(
        measurand,
        unit,
        study,
        _fitness(percent[1], percent[2], settings),
        tolerance,
        percent,
        _fitness(percent[0], percent[0], settings),
        left_out=left_out,
        operators_p=None if (p := operator_p(study)) is None else (p, 1),
    )


def operator_p(study: GaugeStudy) -> float | None:
    """Return the probability of operators that differ as much by chance, of this measurand alone."""
    return next(row.p for row in study.anova if row.name == "operator")


def among_all(verdicts: Sequence[GaugeVerdict]) -> list[GaugeVerdict]:
    """Return the verdicts of one study, the operators' tests corrected for there being so many of them."""
    from processing.comparison.verdicts import holm

    told = {
        verdict.measurand: p for verdict in verdicts if verdict.study and (p := operator_p(verdict.study)) is not None
    }
    corrected = dict(zip(told, holm(list(told.values())), strict=True))
    return [
        replace(verdict, operators_p=(corrected[verdict.measurand], len(told)))
        if verdict.measurand in told
        else verdict
        for verdict in verdicts
    ]


def not_judged(measurand: str, unit: str, why_not: str, *, left_out: tuple[tuple[str, str], ...] = ()) -> GaugeVerdict:
    """Return that nothing can be told of a measurand, with the reason."""
    return GaugeVerdict(measurand, unit, None, "cannot tell", None, None, "cannot tell", why_not, left_out)


def worst_of(verdicts: Sequence[GaugeVerdict]) -> Fitness:
    """Return the verdict of the rig as a whole."""
    return max((verdict.fitness for verdict in verdicts), key=ORDER.index, default="cannot tell")


def _fitness(low: float, high: float, settings: GaugeSettings) -> Fitness:
    if high <= settings.fit_percent:
        return "fit"
    if high <= settings.unfit_percent:
        return "fit with caution"
    return "unfit" if low > settings.unfit_percent else "cannot tell"


def what_would_tell(study: GaugeStudy) -> str:
    """Return what makes the upper end of GRR so far out: of what the study needs more."""
    from scipy.stats import chi2

    parts, _, trials = study.readings.values.shape
    rows = {row.name: row for row in study.anova}
    tail = (1.0 - study.settings.coverage) / 2.0

    def reach(name: str, factor: float) -> float:
        row = rows[name]
        return factor * row.mean_square * float(row.dof / chi2.ppf(tail, row.dof) - 1.0)

    reaches = {"operators": reach("operator", 1.0 / (parts * trials))}
    if study.pooled:
        reaches["trials"] = reach("pooled", 1.0 - 1.0 / (parts * trials))
    else:
        reaches["keys and operators"] = reach("interaction", (parts - 1.0) / (parts * trials))
        reaches["trials"] = reach("repeats", 1.0 - 1.0 / trials)
    return max(reaches, key=lambda what: reaches[what])


def judge_bias(study: BiasStudy, allowed: float | None) -> Fitness:
    """Return the verdict on a bias. allowed: how large it may be at any reference; None: none may be sure.

    Without `allowed` a bias that is surely not 0, on the whole or in its slope, makes the rig unfit; with it the ends
    of the line's interval at every reference decide.
    """
    if allowed is None:
        sure = min(study.mean.p, study.slope.p) < study.settings.alpha
        return "unfit" if sure else "fit"
    lines = [study.line_at(at.reference) for at in study.at]
    if all(abs(bias) + half <= allowed for bias, half in lines):
        return "fit"
    return "unfit" if any(abs(bias) - half > allowed for bias, half in lines) else "cannot tell"
