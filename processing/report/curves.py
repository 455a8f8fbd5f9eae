"""The picture of one key: force over way, down and up, with the features marked where they were read."""

from __future__ import annotations

from matplotlib.axes import Axes

from processing.display import Units, number
from processing.report.style import BLUE, DARK, GREEN, ORANGE, PALE, RED
from processing.stages import Curve, KeyResult

TOP_OVER_PEAK = 1.25
"""The key bed rises steeply; the picture ends this far above the highest force before it."""


def draw_key(axes: Axes, result: KeyResult, units: Units, *, beside: KeyResult | None = None) -> None:
    """Draw a key's curve with its features on given axes; `beside` is drawn pale behind it for comparison.

    A key without a curve is said to have none. The legend is the caller's: `axes.legend()` or one for many axes.
    """
    axes.set_title(result.key.name + (f"  (pale: {beside.key.name})" if beside else ""))
    axes.set_xlabel(f"displacement from touch ({units.of('mm')})")
    axes.set_ylabel(f"force ({units.of('N')})")
    curve = result.curve
    if curve is None:
        axes.text(0.5, 0.5, "nothing could be measured", transform=axes.transAxes, ha="center")
        return
    if beside is not None and beside.curve is not None:
        _draw_lines(axes, beside.curve, units, PALE, PALE, label=False)
    _draw_lines(axes, curve, units, BLUE, ORANGE, label=True)
    shown = [key for key in (result, beside) if key is not None and key.curve is not None]
    top = max(_top_newton(key, key.curve) for key in shown if key.curve is not None)
    axes.set_ylim(0, units.value(top, "N"))
    axes.set_xlim(units.value(-0.2, "mm"), units.value(float(curve.way_mm[-1]) + 0.2, "mm"))
    _mark_features(axes, result, units, top)


def _draw_lines(axes: Axes, curve: Curve, units: Units, down: str, up: str, *, label: bool) -> None:
    way = units.value(1.0, "mm") * curve.way_mm
    axes.plot(way, units.value(1.0, "N") * curve.down_newton, color=down, lw=1.3, label="down" if label else None)
    if curve.up_newton is not None:
        axes.plot(
            way, units.value(1.0, "N") * curve.up_newton, color=up, lw=1.3, ls="--", label="up" if label else None
        )


def _top_newton(result: KeyResult, curve: Curve) -> float:
    contact = result["bed_contact"].value or float(curve.way_mm[-1]) * 0.9
    before_bed = curve.down_newton[: max(2, round(contact / curve.step_mm))]
    return TOP_OVER_PEAK * max(float(before_bed.max()), 0.2)


MARKS = (
    # place                   force                 marker colour  label
    ("letoff_onset_position", None,                 "|",   RED,    "let-off begins"),
    ("letoff_end_position",   None,                 "|",   RED,    "let-off ends"),
    ("damper_position",       None,                 "s",   GREEN,  "damper"),
    ("trigger_position",      None,                 "D",   DARK,   "note starts"),
    ("letoff_peak_position",  "letoff_peak_force",   "v",   RED,    "let-off peak"),
    ("bed_contact",           None,                 "x",   DARK,   "bed begins"),
)  # fmt: skip


def _mark_features(axes: Axes, result: KeyResult, units: Units, top_newton: float) -> None:
    for place_name, force_name, marker, colour, label in MARKS:
        place = result[place_name].value
        if place is not None:
            force = result[force_name].value if force_name else None
            _mark(axes, result.curve, units, place, force, marker, colour, label)
    release = result["release_position"].value
    if release is not None and result.curve is not None and result.curve.up_newton is not None:
        index = min(round(release / result.curve.step_mm), len(result.curve.way_mm) - 1)
        at = units.value(release, "mm"), units.value(float(result.curve.up_newton[index]), "N")
        axes.plot(*at, "D", color=DARK, mfc="white", ms=4.5, ls="none", label="note stops")
    dip = result["key_dip"].value
    if dip is not None:
        axes.axvline(units.value(dip, "mm"), color=DARK, lw=0.8, ls=":", label="key dip")
    _mark_weights(axes, result, units, top_newton)


def _mark(
    axes: Axes,
    curve: Curve | None,
    units: Units,
    place_mm: float,
    force_newton: float | None,
    marker: str,
    colour: str,
    label: str,
) -> None:
    if curve is None:
        return
    index = min(round(place_mm / curve.step_mm), len(curve.way_mm) - 1)
    force = float(curve.down_newton[index]) if force_newton is None else force_newton
    axes.plot(
        units.value(place_mm, "mm"),
        units.value(force, "N"),
        marker,
        color=colour,
        ms=9 if marker == "|" else 4.5,
        ls="none",
        label=None if label.startswith("let-off ") and marker == "|" else label,
    )


def _mark_weights(axes: Axes, result: KeyResult, units: Units, top_newton: float) -> None:
    """Draw both weights as bars over the window in which they were taken, with their values."""
    if result.window_mm is None:
        return
    ends = [units.value(end, "mm") for end in result.window_mm]
    gap = units.value(0.03 * top_newton, "N")
    for name, letter, colour in (("down_weight", "D", BLUE), ("up_weight", "U", ORANGE)):
        measured = result[name]
        if measured.value is None:
            continue
        level = units.value(measured.value, "N")
        above = letter == "D" or level < 3.0 * gap
        axes.plot(ends, [level, level], color=colour, lw=3, alpha=0.35)
        axes.text(
            sum(ends) / 2,
            level + gap if above else level - gap,
            f"{letter} {number(measured.value, 'N', units)}",
            color=DARK,
            ha="center",
            va="bottom" if above else "top",
            fontsize=7,
        )
