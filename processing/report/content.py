"""What a report says, before it is HTML or PDF: sentences, tables and figures in the reader's units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from processing.calibration_status import calibration_sentence, calibration_status, marked
from processing.display import Units, finding_in_words, measured, remark_on
from processing.features.table import FEATURES
from processing.keyboard import KeyboardResult
from processing.report.budget_bars import budgets_of, draw_budgets
from processing.report.curves import draw_key
from processing.report.key_table import Table, key_table
from processing.report.motion import draw_motion, moves
from processing.report.strips import draw_strips
from processing.report.style import new_figure
from processing.settings import Settings
from processing.stages import KeyResult
from processing.summary import odd_key_sentences, summary
from processing.verdicts import notch_sentence, note_order, sustain
from recordings.keys import Key
from recordings.types import Calibration, LinearScale, RunInfo

CURVES_A_PAGE = 6
LEGEND_INCHES = 0.4
CAUTION = (
    "These numbers help a qualified person to judge; they do not replace that person's sign-off. "
    "A motor near fingers can crush: stops in software are no safety function."
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure and its caption; drawn only when it is needed."""

    caption: str
    draw: Callable[[], Figure]


@dataclass(frozen=True, slots=True)
class ReportContent:
    """Everything in a report, in the order of its pages."""

    title: str
    subtitle: str
    summary: tuple[str, ...]
    odd_keys: tuple[tuple[str, str], ...]
    strips: Picture
    curves: tuple[Picture, ...]
    budgets: Picture | None
    """What a few main numbers of one key owe their uncertainty to; None: no key shown has one."""
    motion: tuple[Picture, ...]
    """Keys that were pressed at several speeds or lifted in part."""
    keys: Table
    details: tuple[tuple[str, Table], ...]
    """For each key with a curve in the report: every measurand with its 95 % interval, or why it is missing."""
    recording_findings: tuple[tuple[str, str], ...]
    method: tuple[tuple[str, str], ...]
    caution: str


def build_content(result: KeyboardResult, units: Units, *, curves_of: tuple[Key, ...] = ()) -> ReportContent:
    """Return the content of a report. curves_of: keys whose curves are shown; empty: a choice of plain and odd ones."""
    run, units = result.header.run, marked(units, result.header)
    chosen = _chosen(result, curves_of)
    return ReportContent(
        title=f"{run.instrument}: how its keys feel",
        subtitle=_subtitle(run),
        summary=tuple(summary(result, units)),
        odd_keys=tuple(odd_key_sentences(result, units)),
        strips=Picture(
            "All keys from bass to treble. Circles are naturals, triangles sharps; lines are Theil-Sen trends; "
            "rings mark keys that stand out from their neighbours in that number.",
            lambda: draw_strips(result, units),
        ),
        curves=tuple(
            _curve_page(chosen[start : start + CURVES_A_PAGE], result, units)
            for start in range(0, len(chosen), CURVES_A_PAGE)
        ),
        budgets=_budgets(chosen, units, calibrated=calibration_status(result.header) == "calibrated"),
        motion=tuple(_motion(key, units) for key in chosen if moves(key)),
        keys=key_table(result, units),
        details=tuple((key.key.name, _all_numbers(key, units, result.settings)) for key in chosen),
        recording_findings=_recording_findings(result, units),
        method=_method(result),
        caution=CAUTION,
    )


def _subtitle(run: RunInfo) -> str:
    when = f"{run.started_at:%Y-%m-%d %H:%M} UTC"
    if run.source_file:
        return f"from the table {run.source_file}, last changed {when}"
    return f"recorded {when}" + (f" by {run.operator}" if run.operator else "")


def _chosen(result: KeyboardResult, curves_of: tuple[Key, ...]) -> list[KeyResult]:
    if curves_of:
        return [key for key in result.keys if key.key in curves_of]
    odd = [odd.result for odd in result.odd_keys]
    plain = [key for key in result.keys if key.curve is not None and key not in odd]
    places = sorted({round(share * (len(plain) - 1)) for share in (0.15, 0.5, 0.85)}) if plain else []
    return [plain[place] for place in places] + odd[: 2 * CURVES_A_PAGE - len(places)]


def _curve_page(keys: list[KeyResult], result: KeyboardResult, units: Units) -> Picture:
    odd = {odd.result.key for odd in result.odd_keys}

    def draw() -> Figure:
        rows = (len(keys) + 1) // 2
        figure = new_figure(7.6, 2.9 * rows + LEGEND_INCHES, head_inches=LEGEND_INCHES)
        all_axes = figure.subplots(rows, 2, squeeze=False).ravel()
        for axes, key in zip(all_axes, keys, strict=False):
            draw_key(axes, key, units, beside=_plain_neighbour(key, result, odd) if key.key in odd else None)
        for axes in all_axes[len(keys) :]:
            axes.set_visible(False)
        _one_legend(list(all_axes[: len(keys)]))
        return figure

    return Picture("Force over displacement of " + ", ".join(key.key.name for key in keys), draw)


def _budgets(keys: list[KeyResult], units: Units, *, calibrated: bool) -> Picture | None:
    """Return the bars of the first key shown that has budgets."""
    shown = next((key for key in keys if budgets_of(key)), None)
    if shown is None:
        return None
    return Picture(
        f"What the uncertainties of {shown.key.name} are made of. Bars are standard uncertainties in the unit of the "
        "number; they add up as squares. For any other number: keyplumb measure --budget KEY:MEASURAND."
        + ("" if calibrated else " Uncalibrated: no bar says how far the scales of force and travel are off."),
        lambda: draw_budgets(shown, units),
    )


def _motion(key: KeyResult, units: Units) -> Picture:
    return Picture(
        f"{key.key.name} in motion: velocities of single strokes over the key's speed in the last millimetre before "
        "the note, and partial lifts from the bed with whether the next press sounded.",
        lambda: draw_motion(key, units),
    )


def _one_legend(all_axes: list[Axes]) -> None:
    """Put the legend of all axes above the first ones; it must not squeeze them, so the layout passes it over."""
    entries: dict[str, Artist] = {}
    for axes in all_axes:
        entries |= dict(zip(*reversed(axes.get_legend_handles_labels()), strict=True))
    legend = all_axes[0].legend(
        list(entries.values()), list(entries), loc="lower left", bbox_to_anchor=(-0.1, 1.1), ncols=len(entries)
    )
    legend.set_in_layout(False)


def _plain_neighbour(key: KeyResult, result: KeyboardResult, odd: set[Key]) -> KeyResult | None:
    """Return the nearest key of the same colour that does not stand out."""
    plain = [
        other
        for other in result.keys
        if other.key not in odd and other.key.colour == key.key.colour and other.curve is not None
    ]
    return min(plain, key=lambda other: abs(other.key.number - key.key.number), default=None)


def _recording_findings(result: KeyboardResult, units: Units) -> tuple[tuple[str, str], ...]:
    return tuple(
        (key.key.name, finding_in_words(finding, units))
        for key in result.keys
        for finding in key.findings
        if not finding.odd
    )


def _method(result: KeyboardResult) -> tuple[tuple[str, str], ...]:
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
        ("Source file", f"{run.source_file}, SHA-256 {run.source_sha256}" if run.source_file else None),
        ("Software", f"keyplumb {run.software_version}"),
    )  # fmt: skip
    told = ((TOLD_OF[entry.kind], entry.text) for entry in result.diary if entry.kind in TOLD_OF)
    return *((name, text) for name, text in known if text is not None), *told


TOLD_OF = {
    "check": "Check of the rig before",
    "calibration": "Calibration record",
    "clock": "Clock",
    "midi": "MIDI through the computer",
    "cable": "Cable",
    "resumed": "Interrupted and resumed",
}
"""What of a recording's diary a reader of its numbers should know."""


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


def _all_numbers(key: KeyResult, units: Units, settings: Settings) -> Table:
    rows = tuple(
        (feature.caption, measured(key[feature.name], units), remark_on(key[feature.name])) for feature in FEATURES
    )
    told = (
        ("Note and notch", note_order(key) or "", ""),
        ("Room to repeat with the note held, verdict", sustain(key, settings) or "", ""),
        ("Weight test", notch_sentence(key, units), ""),
    )
    verdicts = tuple(row for row in told if row[1])
    return Table(("Measurand", "Value, 95 % interval", "Remark"), rows + verdicts)
