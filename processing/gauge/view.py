"""Gauge studies as plain data, for JSON: every number in N, mm or the readings' own unit; null for what is infinite."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from processing.display import Units
from processing.gauge.bias_linearity import BiasStudy
from processing.gauge.crossed import GaugeStudy
from processing.gauge.interlaboratory import Interlaboratory
from processing.gauge.nested import Nested
from processing.gauge.stability import Stability
from processing.gauge.verdict import GaugeVerdict, worst_of
from processing.gauge.words import bias_sentences, nested_sentences, rig_sentences, stability_sentences, study_sentences

SCHEMA = "keyplumb.gauge/1"
OURS = Units("N", "mm")


def study_view(verdicts: Sequence[GaugeVerdict], *, about: dict[str, Any]) -> dict[str, Any]:
    """Return a crossed study of some measurands. about: what the study is, as it stands in its plan."""
    return _finite(
        {
            "schema": SCHEMA,
            "kind": "study",
            **about,
            "verdict": worst_of(verdicts),
            "measurands": [_verdict(verdict) for verdict in verdicts],
        }
    )


def _verdict(verdict: GaugeVerdict) -> dict[str, Any]:
    told: dict[str, Any] = {
        "measurand": verdict.measurand,
        "unit": verdict.unit,
        "verdict": verdict.fitness,
        "verdict_by_estimate": verdict.by_estimate,
        "why_not": verdict.why_not or None,
        "left_out": [{"part": part, "why": why} for part, why in verdict.left_out],
        "tolerance": None if verdict.tolerance is None else asdict(verdict.tolerance),
        "percent": _with_ends(verdict.percent),
        "operators_differ": _test(verdict),
        "sentences": study_sentences(verdict, OURS),
    }
    return told if verdict.study is None else {**told, **_study(verdict.study)}


def _test(verdict: GaugeVerdict) -> dict[str, Any] | None:
    """Return the test of the operators, corrected (Holm) for the measurands of the study."""
    if verdict.operators_p is None:
        return None
    p, tests = verdict.operators_p
    return {"p_holm": p, "measurands": tests}


def _study(study: GaugeStudy) -> dict[str, Any]:
    return {
        "parts": study.readings.parts,
        "operators": study.readings.operators,
        "trials": study.readings.trials,
        "interaction_pooled": study.pooled,
        "anova": [{**asdict(row), "mean_square": row.mean_square} for row in study.anova],
        "standard_deviations": [{**asdict(part), "percent": study.percent_of_total(part.name)} for part in study.parts],
        "gauge_share_of_total": _with_ends(study.share),
        "categories": _with_ends(study.categories),
        "settings": asdict(study.settings),
    }


def _with_ends(three: tuple[float, float, float] | None) -> dict[str, float] | None:
    return None if three is None else dict(zip(("value", "lower", "upper"), three, strict=True))


def bias_view(study: BiasStudy, unit: str, verdict: str, allowed: float | None = None) -> dict[str, Any]:
    """Return bias and linearity. allowed: how large a bias may be, in the readings' unit; None: nothing was said."""
    told = {"schema": SCHEMA, "kind": "bias", "unit": unit, "verdict": verdict, "allowed": allowed, **asdict(study)}
    return _finite({**told, "sentences": bias_sentences(study, unit, OURS, allowed)})


def stability_view(found: Stability, measurand: str, unit: str, verdict: str) -> dict[str, Any]:
    """Return the days of a check standard."""
    told = {"schema": SCHEMA, "kind": "stability", "measurand": measurand, "unit": unit, "verdict": verdict}
    return _finite({**told, **asdict(found), "sentences": stability_sentences(found, unit, OURS)})


def nested_view(found: Nested, unit: str) -> dict[str, Any]:
    """Return the levels of a nested study."""
    told = {"schema": SCHEMA, "kind": "days", "unit": unit, **asdict(found)}
    return _finite({**told, "sentences": nested_sentences(found, unit, OURS)})


def rigs_view(found: Interlaboratory, measurand: str, unit: str, verdict: str) -> dict[str, Any]:
    """Return what several rigs have read."""
    told = {"schema": SCHEMA, "kind": "rigs", "measurand": measurand, "unit": unit, "verdict": verdict}
    return _finite({**told, **asdict(found), "sentences": rig_sentences(found, unit, OURS)})


def _finite(told: dict[str, Any]) -> dict[str, Any]:
    """Return plain data without infinities, which JSON does not know."""
    return {name: _plain(one) for name, one in told.items()}


def _plain(told: Any) -> Any:
    if isinstance(told, dict):
        return _finite(told)
    if isinstance(told, list | tuple):
        return [_plain(one) for one in told]
    return None if isinstance(told, float) and not math.isfinite(told) else told
