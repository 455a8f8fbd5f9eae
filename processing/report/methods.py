"""How it was measured and how to make the report again: method, calibration, settings, files, versions."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from importlib.metadata import version
from typing import Any

from processing.calibration_status import calibration_sentence
from processing.display import Units
from processing.report.blocks import Block, Sentences, TableBlock
from processing.report.findings import Found
from processing.report.key_table import Table
from processing.report.recorded import Described, Made
from recordings.calibration_file import content_id
from recordings.types import Calibration, LinearScale

PARTS = ("numpy", "scipy", "h5py", "matplotlib", "jinja2")
"""What the numbers and the files of a report depend on."""
TOLD_OF = {
    "check": "Check of the rig before",
    "calibration": "Calibration record",
    "clock": "Clock",
    "midi": "MIDI through the computer",
    "cable": "Cable",
    "resumed": "Interrupted and resumed",
}
"""What of a recording's diary a reader of its numbers should know."""


def methods(recordings: Sequence[Described]) -> tuple[Block, ...]:
    """Return how each recording was made and measured."""
    return tuple(
        TableBlock("" if len(recordings) == 1 else recorded.name, Table(("What", "How"), method_rows(recorded)))
        for recorded in recordings
    )


def method_rows(recorded: Described) -> tuple[tuple[str, str], ...]:
    """Return what is known of how a recording was made and measured, in names and words."""
    result = recorded.result
    run, rig, calibration = result.header.run, result.header.rig, result.header.calibration
    settings = result.settings
    calibration_part = "calibration record" if calibration.record else "no calibration part"
    known = (
        ("Instrument", run.instrument),
        ("Programme", run.programme),
        ("Operator", run.operator),
        ("Room", f"{run.room_celsius:g} °C" if run.room_celsius is not None else "temperature not measured"),
        ("Rig", " ".join(part for part in (rig.model, rig.serial_number) if part) or None),
        ("Sample rate", f"{rig.sample_rate_hz:g} Hz" if rig.sample_rate_hz else None),
        ("Force and travel are stated at", f"the {settings.stated_at}"),
        ("Calibration", calibration_sentence(result.header)),
        *_as_stated(calibration),
        ("Touch (x = 0)", f"{settings.stroke.touch_newton:g} N"),
        ("Key dip is read at", f"{settings.feature.bed_newton:g} N"),
        ("Smoothing", f"local parabola, half-width {settings.curve.half_width_mm:g} mm"),
        ("Gram", "gram-force at standard gravity, 9.80665 mN"),
        ("Uncertainty", "95 % intervals from strokes, noise, zero, resolution, latency bound; " + calibration_part),
        ("Bands of curves", "pointwise 95 % of the mean of the strokes, by noise or scatter of strokes"),
        ("Drift over the sitting", " ".join(recorded.drift) or None),
        ("Recorded with", f"keyplumb {run.software_version}"),
    )  # fmt: skip
    told = ((TOLD_OF[entry.kind], entry.text) for entry in result.diary if entry.kind in TOLD_OF)
    return *((name, text) for name, text in known if text is not None), *told


def _as_stated(calibration: Calibration) -> tuple[tuple[str, str], ...]:
    """Return what the rig states of itself, where there is no calibration of it."""
    record = calibration.record
    stated = (
        ("Force scale", record and record.force, _scale_in_words(calibration.force)),
        ("Displacement scale", record and record.displacement, _scale_in_words(calibration.displacement)),
        ("Give of the rig, taken out", record and record.compliance, f"{calibration.compliance_mm_per_newton:g} mm/N"),
    )
    return tuple((name, text) for name, part, text in stated if part is None)


def _scale_in_words(scale: LinearScale) -> str:
    return f"{scale.reference}; {scale.calibrated_on or 'uncalibrated'}"


def settings_table(recordings: Sequence[Described]) -> TableBlock:
    """Return every setting in force, by its name, which ends in its unit; a column a recording if they differ."""
    columns = [dict(_flat("", recorded.result.settings)) for recorded in recordings]
    if all(column == columns[0] for column in columns):
        return TableBlock("Settings in force", Table(("Setting", "Value"), tuple(columns[0].items())))
    rows = tuple((name, *(column[name] for column in columns)) for name in columns[0])
    return TableBlock("Settings in force", Table(("Setting", *(recorded.name for recorded in recordings)), rows))


def comparison_settings(found: Found) -> tuple[Block, ...]:
    """Return what a comparison rests on; nothing without one."""
    if found.comparison is None:
        return ()
    settings = tuple(_flat("", found.comparison.settings))
    margins = tuple((name, f"{value:g}") for name, value in found.comparison.margins.items())
    return (
        TableBlock("Settings of the comparison", Table(("Setting", "Value"), settings)),
        TableBlock("Alike within (N, mm, mJ)", Table(("Measurand", "Margin"), margins)),
    )


def _flat(prefix: str, settings: Any) -> list[tuple[str, str]]:
    found = []
    for field in fields(settings):
        value, name = getattr(settings, field.name), f"{prefix}{field.name}"
        found += _flat(f"{name}.", value) if is_dataclass(value) else [(name, f"{value}")]
    return found


def provenance(recordings: Sequence[Described], units: Units, made: Made | None) -> tuple[Block, ...]:
    """Return the files, the calibration records and the versions that the report comes from."""
    rows = [row for recorded in recordings for row in _sources(recorded, prefix=len(recordings) > 1)]
    rows.append(("Units", f"{units.force}, {units.length}"))
    rows += [(f"Version of {part}", version(part)) for part in PARTS]
    rows.append(("Version of Python", platform.python_version()))
    if made is not None:
        rows += [("Version of keyplumb", made.version), ("Command", made.command)]
    said = "From the same files, with the same versions and settings, this report comes out the same, byte for byte."
    return (Sentences((said,)), TableBlock("", Table(("What", "Which"), tuple(rows))))


def _sources(recorded: Described, *, prefix: bool) -> list[tuple[str, str]]:
    whose = f"{recorded.name}: " if prefix else ""
    run, record = recorded.result.header.run, recorded.result.header.calibration.record
    rows = []
    if recorded.file is not None:
        file = recorded.file
        rows.append((f"{whose}file", f"{file.name}, {file.size_bytes} bytes"))
        rows.append((f"{whose}SHA-256 of the file", file.sha256))
    rows += [
        (f"{whose}check keys, file", f"{check.name}, {check.size_bytes} bytes, SHA-256 {check.sha256}")
        for check in recorded.checks
    ]
    if run.source_file:
        rows.append((f"{whose}table it was imported from", f"{run.source_file}, SHA-256 {run.source_sha256}"))
    if record is not None:
        rows.append((f"{whose}calibration record", content_id(record)))
    return rows
