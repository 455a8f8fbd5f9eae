"""What one key alone tells of its limits: its numbers, its let-off, what the checks have found.

How it works: a number is judged only if nothing makes it doubtful. A flag that the limits file does not allow, a
missing number, one without uncertainty: then it is neither passed nor failed, and the reason says why.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from processing.features.table import FEATURES
from processing.limits.conformity import decide
from processing.limits.findings import DOUBTFUL_FLAGS
from processing.limits.types import Limits, ValueLimit
from processing.limits.verdict import Decision, Numbers, as_template, decision
from processing.stages import KeyResult, Measurement
from recordings.keys import Key

CAPTION_OF = {feature.name: feature.caption for feature in FEATURES}
ONLY_AT_LEAST = "lower_bound"
"""The flag of a number of which only a lower limit can be said to be kept."""


def decisions_of(result: KeyResult, limits: Limits) -> Iterator[Decision]:
    """Yield every decision that needs no other key."""
    if result.strokes < limits.expected.strokes:
        yield _few_strokes(result, limits.expected.strokes)
    for limit in limits.values:
        if result.key in limit.keys:
            yield _of_value(result, limit, limits.expected.allowed_flags)
    if limits.letoff is not None and result.key in limits.letoff.keys:
        yield _of_letoff(result, limits)
    yield from _of_findings(result, limits)


def missing_key(key: Key) -> Decision:
    """Return what is said of a key that is not in the recording."""
    return Decision(
        code="missing key", key=key, outcome="cannot tell", template="the key is not in the recording; record it"
    )


def doubt_of(measurement: Measurement, allowed: frozenset[str]) -> str | None:
    """Return why a number is not judged, as words after its name; None: it is."""
    if measurement.value is None:
        return f"is missing: {measurement.reason}"
    if measurement.u is None or measurement.dof is None:
        return "has no uncertainty"
    flags = [flag for flag in measurement.flags if flag not in allowed]
    return DOUBTFUL_FLAGS.get(flags[0], f"carries the flag {flags[0]}") if flags else None


def _few_strokes(result: KeyResult, wanted: int) -> Decision:
    counted = f"{result.strokes} stroke{'' if result.strokes == 1 else 's'} where {wanted} are asked for"
    return Decision(
        code="few strokes", key=result.key, outcome="cannot tell", template=f"{counted}; record the key again"
    )


def _of_value(result: KeyResult, limit: ValueLimit, allowed: frozenset[str]) -> Decision:
    measurement = result[limit.measurand]
    at_least = limit.upper is None and ONLY_AT_LEAST in measurement.flags
    doubt = doubt_of(measurement, allowed | {ONLY_AT_LEAST} if at_least else allowed)
    if doubt is None:
        judged = _judged(result.key, measurement, limit)
        if not at_least or judged.outcome == "pass":
            return judged
        doubt = DOUBTFUL_FLAGS[ONLY_AT_LEAST]
    return _doubtful(result.key, measurement, limit, doubt)


def _doubtful(key: Key, measurement: Measurement, limit: ValueLimit, doubt: str) -> Decision:
    lower, upper = limit.ends(key)
    shown = () if measurement.value is None else ((measurement.value, measurement.unit),)
    return Decision(
        code=limit.measurand,
        key=key,
        outcome="cannot tell",
        value=measurement.value,
        u=measurement.u,
        unit=limit.unit,
        lower=lower,
        upper=upper,
        template=f"{CAPTION_OF[limit.measurand]}{' {}' if shown else ''} {as_template(doubt)}",
        numbers=shown,
    )


def _judged(key: Key, measurement: Measurement, limit: ValueLimit) -> Decision:
    value, u, dof = measurement.value, measurement.u, measurement.dof
    assert value is not None
    assert u is not None
    assert dof is not None
    lower, upper = limit.ends(key)
    decided = decide(value, u, dof, lower=lower, upper=upper, rule=limit.how.rule, risk=limit.how.risk)
    template, numbers = limits_in_words(value, measurement.expanded or 0.0, limit.unit, lower, upper, decided.outcome)
    return decision(
        limit.measurand,
        key,
        decided,
        limit.unit,
        template=f"{CAPTION_OF[limit.measurand]} {template}",
        numbers=numbers,
        value=value,
        u=u,
        lower=lower,
        upper=upper,
    )


def limits_in_words(
    value: float, expanded: float, unit: str, lower: float | None, upper: float | None, outcome: str
) -> tuple[str, Numbers]:
    """Return how a value lies to its limits, in words with {} for numbers, and the numbers."""
    shown: Numbers = ((value, unit),)
    beyond = upper if lower is None or (upper is not None and value > (lower + upper) / 2.0) else lower
    assert beyond is not None
    side = "above" if beyond == upper else "below"
    outside = value > beyond if side == "above" else value < beyond
    if outcome == "fail":
        return f"{{}} is {side} {{}}", (*shown, (beyond, unit))
    if outcome == "cannot tell":
        return "{} ± {} is too near to {} to tell", (*shown, (expanded, unit), (beyond, unit))
    if outside:  # guarded rejection passes what is not proved to be outside
        return f"{{}} ± {{}} is not proved to be {side} {{}}", (*shown, (expanded, unit), (beyond, unit))
    if lower is not None and upper is not None:
        return "{} is within {} and {}", (*shown, (lower, unit), (upper, unit))
    return f"{{}} is {'at most' if side == 'above' else 'at least'} {{}}", (*shown, (beyond, unit))


def _of_letoff(result: KeyResult, limits: Limits) -> Decision:
    assert limits.letoff is not None
    about = Decision(code="letoff", key=result.key, outcome="pass", template="the let-off is there")
    if result.letoff == "found" or result.letoff == limits.letoff.required:
        return about
    gritty = any(finding.code == "gritty" for finding in result.findings)
    if result.curve is None:
        return replace(about, outcome="cannot tell", template="whether it has a let-off was not measured")
    if gritty and "gritty" not in limits.expected.allowed_flags:
        return replace(about, outcome="cannot tell", template="no let-off was found, but grit may hide a faint one")
    shape = "only a shoulder where a let-off is asked for" if result.letoff == "shoulder" else "it has no let-off"
    return replace(about, outcome="fail", template=shape)


def _of_findings(result: KeyResult, limits: Limits) -> Iterator[Decision]:
    for finding in result.findings:
        fails = finding.code in limits.fail_on
        if fails or finding.code in limits.cannot_tell_on:
            yield Decision(
                code=f"finding:{finding.code}",
                key=result.key,
                outcome="fail" if fails else "cannot tell",
                template=f"{finding.template}; {as_template(finding.advice)}",
                numbers=finding.numbers,
            )
