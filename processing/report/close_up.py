"""One key seen from close by: its samples, its curve, every window, level and mark that its numbers rest on; residuals.

How it works: the key is analysed as ever; strokes and landmarks are then taken once more from the same steps and the
same settings, so the picture shows what the numbers were read from. Four panels: the curve up to the let-off, the whole
force range with the key bed, the residuals of the samples about the curve, and the numbers with their uncertainties.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from processing.budget.calibration_lines import CalibrationDoubt
from processing.display import Units
from processing.display import measured as in_figures
from processing.errors import FeatureNotFound, NoStroke
from processing.find_letoff import LetOff
from processing.landmarks import Landmarks, find_landmarks
from processing.own_files import SIGNED
from processing.pipeline import analyse_key, comparable, strokes_of
from processing.quasi_static import quasi_static_part
from processing.report.curves import draw_key
from processing.report.style import BLUE, DARK, GREEN, ORANGE, PALE, RED, house_style, new_figure
from processing.settings import FeatureSettings, Settings
from processing.stages import Branch, Curve, FloatArray, KeyResult, Stroke
from recordings.safe_files import whole_or_nothing
from recordings.types import Calibration, KeyRecording

WIDTH_INCHES, HEIGHT_INCHES, DOTS_PER_INCH = 13.0, 8.6, 110
MOST_DOTS = 6000
"""Samples drawn of one way; more of them are one blot."""
LINE_SHARE = 0.03
"""Of the height of the axes: a line of small print."""
NUMBERS = (
    "key_dip", "bed_contact", "letoff_peak_position", "letoff_peak_force", "letoff_onset_position",
    "letoff_end_position", "letoff_rise", "letoff_drop", "letoff_slope", "down_weight", "up_weight", "friction",
    "weight_to_letoff", "weight_to_note", "lift_weight", "breakaway", "damper_position", "damper_step",
    "trigger_position", "trigger_margin", "release_position",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CloseUp:
    """All that the picture shows."""

    result: KeyResult
    used: tuple[Stroke, ...]
    marks: Landmarks | None
    settings: Settings


def look_closely(
    recording: KeyRecording, calibration: Calibration, settings: Settings, doubt: CalibrationDoubt | None = None
) -> CloseUp:
    """Return what the picture of a key shows; a key of which nothing could be measured has no strokes."""
    result = analyse_key(recording, calibration, settings, doubt)
    try:
        _, strokes = strokes_of(quasi_static_part(recording), calibration, settings)
    except NoStroke:
        return CloseUp(result, (), None, settings)
    marks = None
    if result.curve is not None:
        try:
            marks = find_landmarks(result.curve, settings.feature)
        except FeatureNotFound:
            marks = None
    return CloseUp(result, comparable(strokes, settings), marks, settings)


def write_close_up(path: Path, seen: CloseUp, units: Units, title: str) -> None:
    """Write the picture as PNG, whole or not at all. Raises CannotWrite, OSError."""
    with house_style(), whole_or_nothing(path) as temporary:
        figure = close_up_figure(seen, units, title)
        figure.savefig(temporary, format="png", dpi=DOTS_PER_INCH, metadata=SIGNED)


def close_up_figure(seen: CloseUp, units: Units, title: str) -> Figure:
    """Return the picture of one key."""
    figure = new_figure(WIDTH_INCHES, HEIGHT_INCHES)
    figure.suptitle(title, x=0.01, ha="left", fontsize=10)
    grid = figure.add_gridspec(2, 2, height_ratios=(3, 1.4), width_ratios=(3, 1))
    near, far = figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[0, 1])
    below, told = figure.add_subplot(grid[1, 0], sharex=near), figure.add_subplot(grid[1, 1])
    draw_key(near, seen.result, units)
    near.set_title("curve, with what its numbers were read from")
    curve = seen.result.curve
    if curve is not None:
        _dots(near, seen, units)
        _windows(near, seen, curve, units)
        _levels(near, seen, curve, units)
        _whole_range(far, seen, curve, units)
        _residuals(below, seen, curve, units)
    handles, labels = near.get_legend_handles_labels()
    once = dict(zip(labels, handles, strict=True))
    near.legend(once.values(), once.keys(), loc="upper left", ncols=4)
    _numbers(told, seen, units)
    return figure


def _ways(stroke: Stroke) -> list[tuple[Branch, str]]:
    return [(branch, colour) for branch, colour in ((stroke.down, BLUE), (stroke.up, ORANGE)) if branch is not None]


def _dots(axes: Axes, seen: CloseUp, units: Units) -> None:
    for stroke in seen.used:
        for branch, colour in _ways(stroke):
            thin = max(1, len(branch.way_mm) // MOST_DOTS)
            way, force = units.value(1.0, "mm") * branch.way_mm, units.value(1.0, "N") * branch.force_newton
            axes.plot(way[::thin], force[::thin], ".", color=colour, ms=1.2, alpha=0.25, zorder=1)


def _windows(axes: Axes, seen: CloseUp, curve: Curve, units: Units) -> None:
    """Shade where means were taken; bars at the foot say where something was looked for."""
    settings, marks = seen.settings.feature, seen.marks
    if marks is None:
        return
    if seen.result.window_mm is not None:
        _span(axes, *seen.result.window_mm, units, BLUE, "weights' window")
    letoff = marks.letoff
    if letoff.peak is not None:
        peak_mm = letoff.peak * curve.step_mm
        _span(axes, peak_mm - settings.before_from_mm, peak_mm - settings.before_to_mm, units, RED, "force before")
    contact, foot = marks.bed_contact_mm, axes.get_xaxis_transform()
    for low, (from_mm, to_mm, colour, label) in enumerate(
        (
            (settings.letoff_search_from * contact, contact, RED, "let-off is sought"),
            (settings.damper_from * contact, settings.damper_to * contact, GREEN, "damper is sought"),
            (0.0, 1.0, DARK, "break-away is sought"),
        )
    ):
        ends = [units.value(from_mm, "mm"), units.value(to_mm, "mm")]
        height = 0.012 + 0.014 * low
        axes.plot(ends, [height] * 2, color=colour, lw=2.5, alpha=0.6, label=label, transform=foot)
    for gap_mm in curve.way_mm[curve.gap]:
        axes.axvline(units.value(float(gap_mm), "mm"), color=PALE, lw=0.6)


def _span(axes: Axes, from_mm: float, to_mm: float, units: Units, colour: str, label: str) -> None:
    axes.axvspan(units.value(from_mm, "mm"), units.value(to_mm, "mm"), color=colour, alpha=0.08, lw=0, label=label)


def _levels(axes: Axes, seen: CloseUp, curve: Curve, units: Units) -> None:
    """Draw each threshold as a thin line over the place where it counts; its name stands at the right edge."""
    if seen.marks is None:
        return
    levels = sorted(levels_of(seen.marks, curve, seen.settings))
    low, high = axes.get_ylim()
    names_at = apart([units.value(level[0], "N") for level in levels], LINE_SHARE * (high - low))
    for (newton, from_mm, to_mm, name), name_at in zip(levels, names_at, strict=True):
        level = units.value(newton, "N")
        axes.plot(
            [units.value(from_mm, "mm"), units.value(to_mm, "mm")], [level] * 2, color=DARK, lw=0.7, ls=(0, (4, 2))
        )
        axes.annotate(
            name,
            (1.0, level),
            xycoords=axes.get_yaxis_transform(),
            xytext=(1.012, name_at),
            textcoords=axes.get_yaxis_transform(),
            fontsize=6,
            va="center",
            arrowprops={"arrowstyle": "-", "lw": 0.4, "color": DARK, "shrinkA": 0, "shrinkB": 0, "relpos": (0.0, 0.5)},
        )


def apart(levels: list[float], least: float) -> list[float]:
    """Return rising levels pushed up just so far that each lies `least` or more above the one before.

    >>> apart([0.0, 1.0, 1.5], 1.0)
    [0.0, 1.0, 2.0]
    """
    pushed: list[float] = []
    for level in levels:
        pushed.append(max(level, pushed[-1] + least) if pushed else level)
    return pushed


def levels_of(marks: Landmarks, curve: Curve, settings: Settings) -> list[tuple[float, float, float, str]]:
    """Return the thresholds that were in force: level in N, from and to in mm, name."""
    found = [(settings.stroke.touch_newton, 0.0, 0.4, "touch")]
    contact = marks.bed_contact_mm
    at_contact = float(np.interp(contact, curve.way_mm, curve.down_newton))
    rise = settings.feature.contact_rise_newton
    found += [
        (at_contact, contact - 0.6, contact + 0.2, "bed begins"),
        (at_contact - rise, contact - 0.6, contact, "lowest before the bed"),
    ]
    return found + _letoff_levels(marks.letoff, curve, settings.feature)


def _letoff_levels(letoff: LetOff, curve: Curve, settings: FeatureSettings) -> list[tuple[float, float, float, str]]:
    if letoff.peak is None or letoff.before_newton is None:
        return []
    peak_mm, peak, before = letoff.peak * curve.step_mm, float(curve.down_newton[letoff.peak]), letoff.before_newton
    onset = before + settings.onset_share * (peak - before)
    found = [
        (before, peak_mm - settings.before_from_mm, peak_mm, "before"),
        (onset, peak_mm - 1.6, peak_mm, "10 % of the rise"),
        (before + letoff.limit_newton, peak_mm - 1.0, peak_mm + 0.3, "detection limit"),
    ]
    if letoff.lowest_newton is not None:
        drop = peak - letoff.lowest_newton
        found.append((peak - settings.end_share * drop, peak_mm, (letoff.end_mm or peak_mm) + 0.2, "90 % of the drop"))
    return found


def _whole_range(axes: Axes, seen: CloseUp, curve: Curve, units: Units) -> None:
    way = units.value(1.0, "mm") * curve.way_mm
    for force, colour, dashes in ((curve.down_newton, BLUE, "-"), (curve.up_newton, ORANGE, "--")):
        if force is not None:
            axes.plot(way, units.value(1.0, "N") * force, color=colour, ls=dashes, lw=1.2)
    axes.axhline(
        units.value(seen.settings.feature.bed_newton, "N"), color=DARK, lw=0.8, ls=":", label="key dip's force"
    )
    if seen.marks is not None:
        axes.axvline(units.value(seen.marks.key_dip_mm, "mm"), color=DARK, lw=0.8, ls=":")
        axes.axvline(units.value(seen.marks.bed_contact_mm, "mm"), color=DARK, lw=0.8, ls="--", label="bed begins")
    axes.set_title("whole range of force")
    axes.set_xlabel(f"displacement ({units.of('mm')})")
    axes.set_ylabel(f"force ({units.of('N')})")
    axes.legend(loc="upper left")


def _residuals(axes: Axes, seen: CloseUp, curve: Curve, units: Units) -> None:
    """Draw samples less curve, and the curve's own standard error, twice."""
    way, scale = units.value(1.0, "mm") * curve.way_mm, units.value(1.0, "N")
    sizes = []
    for branch, colour, force in _branches(seen, curve):
        off = scale * residuals_newton(branch, curve.way_mm, force)
        thin = max(1, len(off) // MOST_DOTS)
        axes.plot(units.value(1.0, "mm") * branch.way_mm[::thin], off[::thin], ".", color=colour, ms=1.2, alpha=0.3)
        before_bed = branch.way_mm < (seen.marks.bed_contact_mm if seen.marks else curve.way_mm[-1])
        sizes.append(np.percentile(np.abs(off[before_bed]), 99.0) if before_bed.any() else 0.0)
    for error, colour in ((curve.down_u_newton, BLUE), (curve.up_u_newton, ORANGE)):
        if error is not None:
            axes.fill_between(way, -2.0 * scale * error, 2.0 * scale * error, color=colour, alpha=0.2, lw=0)
    most = 1.6 * max([*sizes, scale * 1e-3])
    axes.set_ylim(-most, most)
    axes.axhline(0.0, color=DARK, lw=0.6)
    axes.set_title("samples (with what moving the key takes) less curve; bands: twice the curve's standard error")
    axes.set_xlabel(f"displacement from touch ({units.of('mm')})")
    axes.set_ylabel(f"residual ({units.of('N')})")


def _branches(seen: CloseUp, curve: Curve) -> list[tuple[Branch, str, FloatArray]]:
    found = []
    for stroke in seen.used:
        found.append((stroke.down, BLUE, curve.down_newton))
        if stroke.up is not None and curve.up_newton is not None:
            found.append((stroke.up, ORANGE, curve.up_newton))
    return found


def residuals_newton(branch: Branch, way_mm: FloatArray, force_newton: FloatArray) -> FloatArray:
    """Return a way's samples less a curve at their places, N, in the order of the samples; beyond the curve NaN."""
    off: FloatArray = branch.force_newton - np.interp(branch.way_mm, way_mm, force_newton, np.nan, np.nan)
    return off


def _numbers(axes: Axes, seen: CloseUp, units: Units) -> None:
    axes.axis("off")
    rows = [f"{name:22} {in_figures(seen.result[name], units)}" for name in NUMBERS]
    if seen.marks is not None:
        limit = seen.marks.letoff.limit_newton
        rows.append(f"{'detection limit':22} {units.value(limit, 'N'):.2f} {units.of('N')}")
    rows += [f"! {finding.code}" for finding in seen.result.findings]
    axes.text(0.0, 1.0, "\n".join(rows), family="monospace", fontsize=5.6, va="top", transform=axes.transAxes)
