"""A unit against its limits, on one page: from numbers with uncertainties to pass, fail or cannot tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from processing.keyboard import KeyboardResult
from processing.limits.of_a_key import decisions_of, missing_key
from processing.limits.of_the_unit import (
    calibration_flags,
    evidence_decisions,
    spread_decisions,
    stands_out_decisions,
    step_decisions,
)
from processing.limits.types import Limits
from processing.limits.verdict import Decision, KeyVerdict, UnitVerdict, key_verdict, unit_verdict
from processing.pipeline import each_key
from processing.stages import KeyResult
from recordings.keys import Key
from recordings.types import Header, KeyRecording

SURELY_WRONG_AT_MOST = 0.05
"""A fail is certain if it is so improbable to be wrong: as sure as the 95 % that is common practice."""


def judge(result: KeyboardResult, limits: Limits) -> UnitVerdict:
    """Return what the limits make of a unit: every key, and the whole."""
    of_key: dict[Key, list[Decision]] = {one.key: list(decisions_of(one, limits)) for one in result.keys}
    for key in limits.expected.keys:
        of_key.setdefault(key, [missing_key(key)])
    for decision in (*step_decisions(result, limits), *stands_out_decisions(result, limits)):
        assert decision.key is not None
        of_key[decision.key].append(decision)
    of_the_unit = (*evidence_decisions(result, limits), *spread_decisions(result, limits))
    wanted = frozenset(limits.expected.keys)
    keys = [key_verdict(key, decisions, expected=key in wanted) for key, decisions in of_key.items()]
    trusted = tuple(flag for flag in calibration_flags(result.header) if flag in limits.expected.allowed_flags)
    return replace(unit_verdict(result.header, limits.name, keys, of_the_unit), trusted=trusted)


def judge_key(result: KeyResult, limits: Limits) -> KeyVerdict:
    """Return what the limits make of one key as far as it alone can tell: no steps, no spread."""
    return key_verdict(result.key, decisions_of(result, limits))


def judge_recorded(header: Header, recording: KeyRecording, limits: Limits) -> KeyVerdict:
    """Return the verdict on one key from its samples, measured as the limits expect."""
    return judge_key(next(each_key(header, [recording], limits.expected.settings())), limits)


def certain_fail(decisions: Sequence[Decision]) -> Decision | None:
    """Return the first decision by which a unit fails for certain: a finding, or a number that is surely outside."""
    return next(
        (one for one in decisions if one.outcome == "fail" and (one.wrong or 0.0) <= SURELY_WRONG_AT_MOST), None
    )
