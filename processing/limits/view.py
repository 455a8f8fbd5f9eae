"""A verdict as plain data: what `--json` prints, and the rows of its table. Units are N, mm, s, mJ, always."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from processing.calibration_status import calibration_view, marked
from processing.display import Units
from processing.limits.sentences import unit_sentence
from processing.limits.types import Limits
from processing.limits.verdict import Decision, KeyVerdict, UnitVerdict

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "keyplumb.inspect/1"
SI = Units("N", "mm")


def inspect_view(verdict: UnitVerdict, limits: Limits) -> dict[str, Any]:
    """Return a verdict as the JSON contract has it; what nobody knows is null."""
    run, rig, units = verdict.header.run, verdict.header.rig, marked(SI, verdict.header)
    return {
        "schema": SCHEMA,
        "outcome": verdict.outcome,
        "wrong": verdict.wrong,
        "trusted": list(verdict.trusted),
        "sentence": unit_sentence(verdict, units),
        "instrument": run.instrument,
        "serial": run.serial,
        "recorded_at": run.started_at.isoformat(),
        "operator": run.operator,
        "rig": {"model": rig.model, "serial_number": rig.serial_number},
        "calibration": calibration_view(verdict.header),
        "limits": {"name": limits.name, "file": limits.file_name or None, "sha256": limits.sha256 or None},
        "of_the_unit": [_decision_view(one, units) for one in verdict.of_the_unit],
        "keys": [_key_view(key, units) for key in verdict.keys],
    }


def _key_view(verdict: KeyVerdict, units: Units) -> dict[str, Any]:
    return {
        "key": verdict.key.name,
        "number": verdict.key.number,
        "colour": verdict.key.colour,
        "outcome": verdict.outcome,
        "expected": verdict.expected,
        "wrong": verdict.wrong,
        "decisions": [_decision_view(one, units) for one in verdict.decisions],
    }


def _decision_view(decision: Decision, units: Units) -> dict[str, Any]:
    return {
        "code": decision.code,
        "outcome": decision.outcome,
        "value": decision.value,
        "u": decision.u,
        "unit": decision.unit,
        "lower": decision.lower,
        "upper": decision.upper,
        "conforming": decision.conforming,
        "wrong": decision.wrong,
        "text": decision.in_words(units),
    }


def decision_table(verdict: UnitVerdict) -> pd.DataFrame:
    """Return a row a decision: those on the unit first (without a key), then key by key from the left."""
    import pandas as pd

    run, units = verdict.header.run, marked(SI, verdict.header)
    keys = sorted(verdict.keys, key=lambda key: key.key)
    decisions = (*verdict.of_the_unit, *(one for key in keys for one in key.decisions))
    rows = [
        {
            "instrument": run.instrument,
            "serial": run.serial,
            "key": one.key.name if one.key else None,
            "number": one.key.number if one.key else None,
            **_decision_view(one, units),
        }
        for one in decisions
    ]
    return pd.DataFrame(rows).astype({"number": "Int64"})
