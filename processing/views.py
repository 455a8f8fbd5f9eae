"""Results as plain data: what `--json` prints, what tables hold. Units are N, mm, s, mJ, always."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from processing.calibration_status import calibration_status, calibration_view, marked
from processing.display import Units, in_words
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult, OddKey
from processing.settings import Settings
from processing.stages import Finding, KeyResult, Measurement
from processing.statistics.keyboard_statistics import KeyboardStatistics, describe_keyboard
from processing.trend_words import sharps_views, trend_views
from processing.verdicts import notch_decides, note_order, sustain

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "keyplumb.measure/1"
SI = Units("N", "mm")


def measure_view(result: KeyboardResult, statistics: KeyboardStatistics | None = None) -> dict[str, Any]:
    """Return all results as the JSON contract has them; missing is null with a reason.

    statistics: of the same result; None: made here.
    """
    run, units = result.header.run, marked(SI, result.header)
    described = statistics or describe_keyboard(result)
    return {
        "schema": SCHEMA,
        "instrument": run.instrument,
        "serial": run.serial,
        "recorded_at": run.started_at.isoformat(),
        "software_version": run.software_version,
        "calibrated": calibration_status(result.header) == "calibrated",
        "calibration": calibration_view(result.header),
        "settings": asdict(result.settings),
        "keys": [_key_view(key, units, result.settings) for key in result.keys],
        "odd_keys": [_odd_view(odd, units) for odd in result.odd_keys],
        "trends": trend_views(described),
        "sharps_less_naturals": sharps_views(described),
    }


def _key_view(result: KeyResult, units: Units, settings: Settings) -> dict[str, Any]:
    return {
        "key": result.key.name,
        "number": result.key.number,
        "colour": result.key.colour,
        "strokes": result.strokes,
        "features": {measurement.name: _measurement_view(measurement) for measurement in result.measurements},
        "letoff": result.letoff,
        "letoff_detection_limit": {
            "value": result.letoff_limit_newton,
            "unit": "N",
            "false_alarm": settings.feature.letoff_false_alarm,
        },
        "note_order": note_order(result),
        "sustain": sustain(result, settings),
        "notch_decides_weight": notch_decides(result) is not None,
        "findings": [_finding_view(finding, units) for finding in result.findings],
    }


def _measurement_view(measurement: Measurement) -> dict[str, Any]:
    if measurement.value is None:
        return {"value": None, "unit": measurement.unit, "reason": measurement.reason}
    return {
        "value": measurement.value,
        "unit": measurement.unit,
        "u": measurement.u,
        "dof": measurement.dof,
        "U95": measurement.expanded,
        "k": measurement.coverage_factor,
        "flags": list(measurement.flags),
    }


def _finding_view(finding: Finding, units: Units) -> dict[str, Any]:
    return {
        "code": finding.code,
        "text": in_words(finding.template, finding.numbers, units),
        "advice": finding.advice,
        "odd": finding.odd,
    }


def _odd_view(odd: OddKey, units: Units) -> dict[str, Any]:
    return {
        "key": odd.result.key.name,
        "number": odd.result.key.number,
        "reasons": [
            {"code": reason.code, "text": in_words(reason.template, reason.numbers, units)} for reason in odd.reasons
        ],
    }


def tidy_table(result: KeyboardResult) -> pd.DataFrame:
    """Return one row per key and measurand: key, number, colour, measurand, value, unit, u, U95, dof, flags, reason."""
    import pandas as pd

    rows = [
        {
            "key": key.key.name,
            "number": key.key.number,
            "colour": key.key.colour,
            "measurand": measurement.name,
            "value": measurement.value,
            "unit": measurement.unit,
            "u": measurement.u,
            "U95": measurement.expanded,
            "dof": measurement.dof,
            "flags": " ".join(measurement.flags),
            "reason": measurement.reason or "",
        }
        for key in result.keys
        for measurement in key.measurements
    ]
    return pd.DataFrame(rows)


def wide_table(result: KeyboardResult) -> pd.DataFrame:
    """Return one row per key, indexed by its name; columns have their unit in their name (`down_weight_N`).

    The column `calibration` says whether the forces are calibrated.
    """
    import pandas as pd

    columns = {feature.name: column_name(feature.name, feature.unit) for feature in FEATURES}
    rows = [
        {
            "key": key.key.name,
            "number": key.key.number,
            "colour": key.key.colour,
            "strokes": key.strokes,
            "letoff": key.letoff,
            **{columns[measurement.name]: measurement.value for measurement in key.measurements},
            "calibration": calibration_status(result.header),
        }
        for key in result.keys
    ]
    return pd.DataFrame(rows).set_index("key")


def column_name(name: str, unit: str) -> str:
    """Return a measurand's name with its unit, as in `letoff_slope_N_per_mm`."""
    return name if unit == "1" else f"{name}_{unit.replace('/', '_per_')}"
