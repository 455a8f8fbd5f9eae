"""What only the whole unit tells of its limits: steps between keys, evenness, and whether the evidence will do.

How it works: a step is judged by the parts of the budgets that the keys do not share; a key that fails its step is no
measure for its neighbours. The spread's state of knowledge is the fiducial one (variance times degrees of freedom over
chi-square, less the measurement's own): its probability to lie within the limit is put on a normal scale and decided
there, which is exact, for only the probability counts. A unit that is not whole, not what the limits are for, not
measured as they expect or not calibrated passes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from typing import Any

import numpy as np
from scipy.special import chdtrc, ndtri

from processing.budget.propagation import MOST_DOF, coverage_factor
from processing.calibration_status import FLAG_OF, Channel, calibration_sentence, channel_status
from processing.keyboard import COLOURS, KeyboardResult, typical_values
from processing.limits.conformity import Decided, decide
from processing.limits.findings import CALIBRATION_FLAGS
from processing.limits.of_a_key import CAPTION_OF, doubt_of, limits_in_words
from processing.limits.types import How, Limits, SpreadLimit, StepLimit
from processing.limits.verdict import Decision, as_template, decision
from processing.settings import OddKeySettings, Settings
from processing.stages import KeyResult
from processing.statistics.correlated import Resemblance, resemblance_of
from processing.statistics.neighbours import Step, steps_of
from processing.statistics.scatter import Scatter
from processing.statistics.series import Series, series_of
from processing.statistics.settings import StatisticsSettings
from processing.statistics.trend import trend_of
from recordings.keys import Key
from recordings.types import Header

NEIGHBOURS = OddKeySettings().neighbours
CHANNELS: tuple[Channel, ...] = ("force", "displacement")
OF_NO_CONSEQUENCE = ("uncertainty.noise_draws", "uncertainty.seed", "uncertainty.coverage", "feature.latency_bound_s")
"""Settings that move no value: they only make its uncertainty larger or better known, and that is counted anyway."""


def step_decisions(result: KeyboardResult, limits: Limits) -> Iterator[Decision]:
    """Yield a decision for every recorded key of every limit for steps."""
    by_key = {one.key.number: one for one in result.keys}
    for limit in limits.steps:
        series = [series_of(result, limit.measurand, colour) for colour in COLOURS]
        steps = {step.number: step for one in series if one is not None for step in steps_apart(one, limit)}
        for key in sorted(limit.keys):
            if key.number in by_key:
                yield _of_step(by_key, key, steps.get(key.number), limit, limits.expected.allowed_flags)


def steps_apart(series: Series, limit: StepLimit) -> Iterator[Step]:
    """Yield the step of every key; one that fails takes no part in those of its neighbours.

    A key that is off by twice what is allowed would else fail two good ones beside it. Of those that fail the one goes
    first that is furthest from what more of its neighbours suggest (their running median).
    """
    while True:
        steps = steps_of(series)
        failing = [step for step in steps if decide_step(step, limit).outcome == "fail"]
        if not failing:
            yield from steps
            return
        off = np.abs(series.values - typical_values(series.at(series.numbers), series.values, NEIGHBOURS))
        of_number = dict(zip(series.numbers, off.tolist(), strict=True))
        worst = max(failing, key=lambda step: of_number[step.number])
        yield worst
        series = series.only(frozenset(series.numbers) - {worst.number})


def decide_step(step: Step, limit: StepLimit) -> Decided:
    """Return pass, fail or cannot tell for one step."""
    return decide(step.difference, step.u, step.dof, lower=-limit.within, upper=limit.within, **_asked(limit.how))


def _of_step(
    by_key: dict[int, KeyResult], key: Key, step: Step | None, limit: StepLimit, allowed: frozenset[str]
) -> Decision:
    caption, code = CAPTION_OF[limit.measurand], f"step:{limit.measurand}"
    involved = (key.number, *(step.beside if step else ()))
    doubts = [
        f"that of {by_key[n].key.name} {why}"
        for n in involved
        if (why := doubt_of(by_key[n][limit.measurand], allowed))
    ]
    if step is None or doubts:
        why = doubts[0] if doubts else "it has no neighbour of its colour, or none that keeps its own step"
        return Decision(
            code=code,
            key=key,
            outcome="cannot tell",
            unit=limit.unit,
            template=f"{caption}, step to its neighbours: {as_template(why)}",
        )
    ends, decided = (-limit.within, limit.within), decide_step(step, limit)
    expanded = step.u * coverage_factor(step.dof, 0.95)
    template, numbers = limits_in_words(step.difference, expanded, limit.unit, *ends, decided.outcome)
    return decision(
        code,
        key,
        decided,
        limit.unit,
        template=f"{caption} less that of its neighbours: {template}",
        numbers=numbers,
        value=step.difference,
        u=step.u,
        lower=ends[0],
        upper=ends[1],
    )


def spread_decisions(result: KeyboardResult, limits: Limits) -> Iterator[Decision]:
    """Yield a decision for every colour of every limit for spreads."""
    for limit in limits.spreads:
        found = {colour: series_of(result, limit.measurand, colour) for colour in COLOURS}
        resemblance = resemblance_of([(one.places, one.values) for one in found.values() if one is not None])
        for colour in limit.colours:
            expected = [key for key in limits.expected.keys if key.colour == colour]
            if expected:
                yield _of_spread(result, found[colour], colour, resemblance, limit, limits)


def _of_spread(
    result: KeyboardResult,
    series: Series | None,
    colour: str,
    resemblance: Resemblance,
    limit: SpreadLimit,
    limits: Limits,
) -> Decision:
    about = f"{CAPTION_OF[limit.measurand]} of the {colour}s"
    plain = Decision(
        code=f"spread:{limit.measurand}",
        key=None,
        outcome="cannot tell",
        unit=limit.unit,
        upper=limit.upper,
        template=f"{about}: its spread",
    )
    settings = StatisticsSettings()
    doubt = _doubt_of_series(result, colour, limit.measurand, limits)
    if doubt is not None or series is None or len(series.numbers) < settings.fewest_keys:
        why = doubt or f"cannot be told from fewer than {settings.fewest_keys} keys"
        return replace(plain, template=f"{plain.template} {as_template(why)}")
    scatter = trend_of(series, resemblance, settings).scatter
    decided = decide_spread(scatter, limit.upper, limit.how)
    low, high = scatter.interval()
    words = {"pass": "within", "fail": "above", "cannot tell": "too near to tell to"}[decided.outcome]
    return replace(
        plain,
        outcome=decided.outcome,
        value=scatter.spread,
        conforming=decided.conforming,
        wrong=decided.wrong,
        template=f"{about} scatters by {{}} ({{}} to {{}}) about its trend, {words} {{}}",
        numbers=tuple((number, limit.unit) for number in (scatter.spread, low, high, limit.upper)),
    )


def decide_spread(scatter: Scatter, upper: float, how: How) -> Decided:
    """Return pass, fail or cannot tell for the spread of some keys, at most `upper` allowed."""
    allowed = upper**2 + scatter.own_variance
    within = float(chdtrc(scatter.dof, scatter.variance * scatter.dof / allowed))
    if how.rule == "simple acceptance":
        plain = decide(scatter.spread, 0.0, MOST_DOF, lower=None, upper=upper, **_asked(how))
        return replace(plain, conforming=within, wrong=1.0 - within if plain.outcome == "pass" else within)
    score = min(max(-float(ndtri(within)), -FURTHEST), FURTHEST)
    return decide(score, 1.0, MOST_DOF, lower=None, upper=0.0, **_asked(how))


FURTHEST = 37.0
"""Standard deviations at which the normal probability is the smallest number there is."""


def _doubt_of_series(result: KeyboardResult, colour: str, name: str, limits: Limits) -> str | None:
    """Return why the keys of a colour cannot be looked at together; None: they can."""
    by_key = {one.key: one for one in result.keys}
    for key in limits.expected.keys:
        if key.colour != colour:
            continue
        if key not in by_key:
            return f"cannot be told: {key.name} is not in the recording"
        if why := doubt_of(by_key[key][name], limits.expected.allowed_flags):
            return f"cannot be told: that of {key.name} {why}"
    return None


def stands_out_decisions(result: KeyboardResult, limits: Limits) -> Iterator[Decision]:
    """Yield what fails of the keys that stand out from their neighbours."""
    for odd in result.odd_keys:
        for reason in odd.reasons:
            if reason.code in limits.stands_out_in:
                yield Decision(
                    code=f"stands out:{reason.code}",
                    key=odd.result.key,
                    outcome="fail",
                    template=reason.template,
                    numbers=reason.numbers,
                )


def evidence_decisions(result: KeyboardResult, limits: Limits) -> Iterator[Decision]:
    """Yield all that keeps a unit from being passed whatever its numbers are."""
    said = [("incomplete", "the recording is not complete")] if not result.complete else []
    instrument, wanted = result.header.run.instrument, limits.expected.instrument
    if wanted not in (None, instrument):
        said.append(("other instrument", f"the limits are for {wanted}, the recording is of {instrument}"))
    if others := other_settings(result.settings, limits.expected.settings()):
        said.append(("other settings", f"measured otherwise than the limits expect: {'; '.join(others)}"))
    said += [(flag, calibration_sentence(result.header)) for flag in _calibration_doubts(result.header, limits)]
    for code, words in said:
        yield Decision(code=code, key=None, outcome="cannot tell", template=as_template(words))


def other_settings(found: Settings, expected: Settings) -> list[str]:
    """Return which settings differ so that numbers differ, as "feature.bed_newton is 2, not 3"."""
    have, want = dict(_leaves("", asdict(found))), dict(_leaves("", asdict(expected)))
    return [
        f"{name} is {have[name]}, not {want[name]}"
        for name in want
        if have[name] != want[name] and name not in OF_NO_CONSEQUENCE
    ]


def _leaves(above: str, settings: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in settings.items():
        if isinstance(value, dict):
            yield from _leaves(f"{above}{name}.", value)
        else:
            yield f"{above}{name}", value


def _calibration_doubts(header: Header, limits: Limits) -> list[str]:
    """Return the flags of force and displacement that are not allowed, whatever is asked for."""
    return [flag for flag in calibration_flags(header) if flag not in limits.expected.allowed_flags]


def calibration_flags(header: Header) -> list[str]:
    """Return what is wrong with the scales of force and displacement, as flags."""
    found = {FLAG_OF.get(channel_status(header, channel)) for channel in CHANNELS}
    return [flag for flag in CALIBRATION_FLAGS if flag in found]


def _asked(how: How) -> dict[str, Any]:
    return {"rule": how.rule, "risk": how.risk}
