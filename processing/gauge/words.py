"""Gauge studies in sentences, for people who read in gf and mm."""

from __future__ import annotations

import math

from processing.display import Units, count_of
from processing.gauge.bias_linearity import BiasStudy, Estimated
from processing.gauge.crossed import GaugeStudy
from processing.gauge.interlaboratory import Interlaboratory
from processing.gauge.nested import Nested
from processing.gauge.stability import JudgedDay, Stability
from processing.gauge.verdict import GaugeVerdict, operator_p, what_would_tell

SURE = 0.05
"""p, among all measurands of the study, below which operators are said to differ surely; common practice."""


def shown(value: float, unit: str, units: Units, *, digits: int = 3) -> str:
    """Return a number to some significant digits with its unit: a standard deviation may be of any size.

    >>> shown(0.000123456, "N", Units())
    '0.0126 gf'
    """
    name = units.of(unit)
    return f"{plain(units.value(value, unit), digits)}{'' if name == '1' else ' ' + name}"


def plain(value: float, digits: int = 3) -> str:
    """Return a number to some significant digits, without an exponent."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    return f"{value:.{max(0, digits - 1 - math.floor(math.log10(abs(value))))}f}"


def study_sentences(verdict: GaugeVerdict, units: Units) -> tuple[str, ...]:
    """Return what is said of one measurand, the verdict first."""
    told = [f"{part} is left out: {why}." for part, why in verdict.left_out]
    if verdict.study is None or verdict.percent is None:
        return (f"Cannot tell: {verdict.why_not}.", *told)
    study = verdict.study
    return (
        _verdict(verdict, units),
        *_too_small(verdict),
        _spread(study, verdict.unit, units),
        _interaction(study),
        *_operators(study, verdict, units),
        _categories(study),
        *told,
    )


def _verdict(verdict: GaugeVerdict, units: Units) -> str:
    percent, low, high = (plain(value) for value in verdict.percent or (math.nan,) * 3)
    head = verdict.fitness[0].upper() + verdict.fitness[1:]
    tolerance = verdict.tolerance
    if tolerance is None:
        whole = "the spread of all readings of this study, since no tolerance was given"
    elif tolerance.sides == 2:
        whole = f"the tolerance of {_round(tolerance.width, verdict.unit, units)}"
    else:
        whole = f"the {_round(tolerance.width, verdict.unit, units)} from the mean to the limit"
    return f"{head}: the gauge takes {percent} % ({low} to {high} %) of {whole}."


def _round(value: float, unit: str, units: Units) -> str:
    name = units.of(unit)
    return f"{units.value(value, unit):.4g}{'' if name == '1' else ' ' + name}"


def _too_small(verdict: GaugeVerdict) -> tuple[str, ...]:
    if verdict.fitness != "cannot tell" or verdict.study is None:
        return ()
    more = what_would_tell(verdict.study)
    return (
        f"The estimate alone would say {verdict.by_estimate}, but the interval reaches across the limit of "
        f"{verdict.study.settings.unfit_percent:g} %; more {more} would make it narrower.",
    )


def _spread(study: GaugeStudy, unit: str, units: Units) -> str:
    def part(name: str) -> str:
        one = study[name]
        sd, low, high = (plain(units.value(value, unit)) for value in (one.sd, one.lower, one.upper))
        name_of_unit = units.of(unit) if name == "gauge" else units.plain(unit)
        return f"{sd}{'' if unit == '1' else ' ' + name_of_unit} ({low} to {high})"

    return (
        f"Of one reading the gauge's standard deviation is {part('gauge')}: {part('repeatability')} on the same key by "
        f"the same operator, {part('reproducibility')} between operators; the keys differ by {part('part')}."
    )


def _interaction(study: GaugeStudy) -> str:
    p = next(row.p for row in study.anova if row.name == "interaction")
    level = f"p = {p:.2g}, level {study.settings.pool_alpha:g}"
    if study.pooled:
        return f"Operators do not differ from key to key ({level}): the interaction is counted as repeatability."
    return f"Operators may differ from key to key ({level}): the interaction is counted apart."


def _operators(study: GaugeStudy, verdict: GaugeVerdict, units: Units) -> tuple[str, ...]:
    p = operator_p(study)
    if p is None or p >= SURE or verdict.operators_p is None:
        return ()
    among, tests = verdict.operators_p
    told = f"p = {p:.2g}" if tests == 1 else f"p = {p:.2g}, {among:.2g} among {tests} measurands by Holm"
    values = study.readings.values
    away = values.mean(axis=(0, 2)) - values.mean()
    far = int(abs(away).argmax())
    more = "more" if away[far] > 0 else "less"
    return (
        f"Operators {'surely' if among < SURE else 'may'} differ ({told}): {study.readings.operators[far]} reads "
        f"{shown(abs(float(away[far])), verdict.unit, units)} {more} than the mean of all.",
    )


def _categories(study: GaugeStudy) -> str:
    here, low, high = study.categories
    if math.isinf(here):
        return "The readings show no spread of the gauge at all."
    return (
        f"It tells {math.floor(here)} classes of keys apart ({plain(low, 2)} to {plain(high, 2)}); "
        f"{study.settings.fewest_categories} at least are common practice."
    )


def bias_sentences(study: BiasStudy, unit: str, units: Units, allowed: float | None = None) -> tuple[str, ...]:
    """Return what is said of bias and linearity. allowed: how large a bias may be; None: none may be sure."""
    alpha = study.settings.alpha
    lowest, highest = study.at[0].reference, study.at[-1].reference
    return (
        _held_against(study, unit, units, allowed),
        f"Bias: {_with_interval(study.mean, unit, units)} on the whole ({_sure(study.mean, alpha)}).",
        f"Linearity: {_with_interval(study.slope, '1', units)} per unit ({_sure(study.slope, alpha)}), which is "
        f"{shown(study.slope.value * (highest - lowest), unit, units)} from {shown(lowest, unit, units)} to "
        f"{shown(highest, unit, units)}.",
        f"Scatter of one reading: {shown(study.scatter, unit, units)}.",
        f"Behind ± stands half of a {100.0 * study.settings.coverage:g} % interval.",
    )


def _held_against(study: BiasStudy, unit: str, units: Units, allowed: float | None) -> str:
    if allowed is None:
        return f"No allowed bias was given: any that is sure (p below {study.settings.alpha:g}) makes the rig unfit."
    lines = [(at.reference, *study.line_at(at.reference)) for at in study.at]
    reference, bias, half = max(lines, key=lambda line: abs(line[1]) + line[2])
    return (
        f"Allowed is a bias of {_round(allowed, unit, units)}; by the line it is {_with_half(bias, half, unit, units)} "
        f"at {_round(reference, unit, units)}, where it may be largest."
    )


def _with_interval(one: Estimated, unit: str, units: Units) -> str:
    return _with_half(one.value, one.half_width, unit, units)


def _with_half(value: float, half_width: float, unit: str, units: Units) -> str:
    name = units.of(unit)
    told, half = (plain(units.value(number, unit)) for number in (value, half_width))
    return f"{told} ± {half}{'' if name == '1' else ' ' + name}"


def _sure(one: Estimated, alpha: float) -> str:
    return f"{'sure' if one.p < alpha else 'not told from 0'}, t = {one.t:.2f}, p = {one.p:.2g}"


def stability_sentences(found: Stability, unit: str, units: Units) -> tuple[str, ...]:
    """Return what is said of a check standard, the last day first."""
    base, last = found.baseline, found.days[-1]
    limits = f"{shown(base.lower, unit, units, digits=5)} to {shown(base.upper, unit, units, digits=5)}"
    told = [
        _day(last, unit, units),
        f"Limits of the daily mean: {limits} (mean and {found.settings.sigmas:g} standard deviations of "
        f"{base.days} days, {shown(base.s2, unit, units)} each).",
    ]
    if base.s1 is not None and base.between_p is not None:
        differ = "more than" if base.between_p < found.settings.alpha else "no more than"
        told.append(
            f"Within a day readings scatter by {shown(base.s1, unit, units)}; days differ by {differ} that explains "
            f"(F = {base.between_f:.3g}, p = {base.between_p:.2g})."
        )
    if base.days < found.settings.baseline:
        told.append(f"The baseline still grows: it is frozen at {found.settings.baseline} days.")
    earlier = [one for one in found.out if one is not last]
    told += [f"Earlier: {_day(one, unit, units)}" for one in earlier]
    return tuple(told)


def _day(one: JudgedDay, unit: str, units: Units) -> str:
    read = f"{one.day.label}: {shown(one.day.mean, unit, units, digits=5)}"
    if one.day.sd is not None:
        read += f", scatter {shown(one.day.sd, unit, units)}"
        if one.upper_sd is not None:
            read += f" (at most {shown(one.upper_sd, unit, units)})"
    return f"{read}: {one.ruled}."


def nested_sentences(found: Nested, unit: str, units: Units) -> tuple[str, ...]:
    """Return what is said of a nested study."""

    def level(sd: float, dof: int) -> str:
        return f"{shown(sd, unit, units)} ({dof} degrees of freedom)"

    return (
        f"{count_of(found.keys, 'key')}, {found.runs} runs of {found.days} days, {found.repeats} readings a day.",
        f"Within a day readings scatter by s1 = {level(found.s1, found.s1_dof)}; daily means of a run by s2 = "
        f"{level(found.s2, found.s2_dof)}; means of the runs by s3 = {level(found.s3, found.s3_dof)}.",
        f"Of its own a day adds {shown(found.of_days, unit, units)}, a run {shown(found.of_runs, unit, units)}.",
        f"The mean of one day's readings has u = {shown(found.u, unit, units)} ({found.u_dof:.1f} effective degrees of "
        "freedom); bias and calibration are not in it.",
    )


def rig_sentences(found: Interlaboratory, unit: str, units: Units) -> tuple[str, ...]:
    """Return what is said of several rigs."""
    told = [
        f"{part}: {rig} {'lies far from the others' if which == 'h' else 'scatters more than the others'} "
        f"({which} = {value:.2f}, beyond {found.h_critical if which == 'h' else found.k_critical:.2f})."
        for part, rig, which, value in found.inconsistent()
    ]
    told += [
        f"{part}: by {test}'s test {rig} is an outlier in its {'scatter' if test == 'Cochran' else 'mean'} "
        f"({value:.3f}, critical {critical:.3f} at {100.0 * found.settings.outlier_alpha:g} %)."
        for part, rig, test, value, critical in found.outliers()
    ]
    sr = math.sqrt(sum(level.repeatability**2 for level in found.levels) / len(found.levels))
    s_all = math.sqrt(sum(level.reproducibility**2 for level in found.levels) / len(found.levels))
    factor = found.settings.limit_factor
    told.append(
        f"In the mean over the keys two results of one rig differ by less than {shown(factor * sr, unit, units)}, "
        f"two of different rigs by less than {shown(factor * s_all, unit, units)}, in 19 of 20 cases."
    )
    if len(found.rigs) == 2:
        told.append("Of two rigs it cannot be told which one is off: h needs three.")
    return tuple(told)
