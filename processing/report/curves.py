"""The picture of one key: force over way, down and up, with the features marked where they were read."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from scipy.stats import t

from processing.display import Units, measured, number
from processing.report.charts import Dots, In, Line, Note, Panel
from processing.report.draw import draw_panel
from processing.stages import Curve, FloatArray, KeyResult

TOP_OVER_PEAK = 1.25
"""The key bed rises steeply; the picture ends this far above the highest force before it."""
BEYOND_MM = 0.2
NOTHING = "nothing could be measured"


def draw_key(axes: Axes, result: KeyResult, units: Units, *, beside: KeyResult | None = None) -> None:
    """Draw a key's curve with its features on given axes; `beside` is drawn pale behind it for comparison.

    A key without a curve is said to have none. The legend is the caller's: `axes.legend()` or one for many axes.
    """
    draw_panel(axes, key_panel(result, units, beside=beside))


def key_panel(result: KeyResult, units: Units, *, beside: KeyResult | None = None) -> Panel:
    """Return the panel of one key, its axes as wide as this key needs."""
    shown = [key for key in (result, beside) if key is not None and key.curve is not None]
    to, curve = In(units), result.curve
    top = max((_top_newton(key, key.curve) for key in shown if key.curve is not None), default=1.0)
    end = max((float(key.curve.way_mm[-1]) for key in shown if key.curve is not None), default=12.0)
    force, way = to.axis("force", "N", 0.0, top), to.axis("displacement from touch", "mm", -BEYOND_MM, end + BEYOND_MM)
    name = result.key.name
    if curve is None:
        return Panel(title=name, x=way, y=force, empty=NOTHING)
    pale = (
        () if beside is None or beside.curve is None else _lines(beside.curve, units, beside.key.name, "pale", "pale")
    )
    return Panel(
        title=name + (f"  (pale: {beside.key.name})" if beside else ""),
        x=way,
        y=force,
        lines=(*pale, *_lines(curve, units, "", "down", "up"), *_guides(result, units, top)),
        dots=marks(result, curve, units),
        notes=_weights_in_words(result, units, top),
    )


def branches(curve: Curve, units: Units, name: str, down: str, up: str) -> tuple[Line, ...]:
    """Return both ways of a curve with their 95 % bands, under the name of what they belong to."""
    return _lines(curve, units, name, down, up, bands=True)


def _lines(curve: Curve, units: Units, name: str, down: str, up: str, *, bands: bool = False) -> tuple[Line, ...]:
    to = In(units)
    way = to(curve.way_mm, "mm")
    factor = float(t.ppf(0.975, max(curve.noise_dof, 1.0)))
    found = []
    for look, side, force, u in (
        (down, "down", curve.down_newton, curve.down_u_newton),
        (up, "up", curve.up_newton, curve.up_u_newton),
    ):
        if force is not None:
            band = to(factor * u, "N") if bands and u is not None else None
            found.append(Line(label=f"{name} {side}".strip(), look=look, x=way, y=to(force, "N"), band=band))
    return tuple(found)


def top_newton(results: tuple[KeyResult, ...], share: float = 1.0) -> float:
    """Return how high a picture of some keys must reach: a share of them is seen up to the key bed."""
    tops = sorted(_top_newton(result, result.curve) for result in results if result.curve is not None)
    return tops[round(share * (len(tops) - 1))] if tops else 1.0


def _top_newton(result: KeyResult, curve: Curve) -> float:
    contact = result["bed_contact"].value or float(curve.way_mm[-1]) * 0.9
    before_bed = curve.down_newton[: max(2, round(contact / curve.step_mm))]
    return TOP_OVER_PEAK * max(float(before_bed.max()), 0.2)


MARKS = (
    # place                   force                 look      label
    ("letoff_onset_position", None,                 "edge",   "let-off begins"),
    ("letoff_end_position",   None,                 "edge",   "let-off ends"),
    ("damper_position",       None,                 "damper", "damper"),
    ("trigger_position",      None,                 "note on", "note starts"),
    ("letoff_peak_position",  "letoff_peak_force",  "peak",   "let-off peak"),
    ("bed_contact",           None,                 "bed",    "bed begins"),
)  # fmt: skip


def marks(result: KeyResult, curve: Curve, units: Units) -> tuple[Dots, ...]:
    """Return the features of a key where they were read."""
    found = [_mark(result, curve.down_newton, curve, units, *row) for row in MARKS if result[row[0]].value is not None]
    if result["release_position"].value is not None and curve.up_newton is not None:
        found.append(_mark(result, curve.up_newton, curve, units, "release_position", None, "note off", "note stops"))
    return tuple(found)


def _mark(
    result: KeyResult,
    along: FloatArray,
    curve: Curve,
    units: Units,
    place: str,
    force: str | None,
    look: str,
    label: str,
) -> Dots:
    """Return one mark: at the force that was measured there, or on the curve."""
    place_mm = result[place].value or 0.0
    index = min(max(round(place_mm / curve.step_mm), 0), len(along) - 1)
    level = result[force].value if force else None
    newton = float(along[index]) if level is None else level
    words = f"{result.key.name}: {label} at {measured(result[place], units)}"
    return Dots(
        label="let-off begins, ends" if look == "edge" else label,
        look=look,
        x=np.array([units.value(place_mm, "mm")]),
        y=np.array([units.value(newton, "N")]),
        said=(words + (f", {measured(result[force], units)}" if force else ""),),
    )


def _guides(result: KeyResult, units: Units, top: float) -> tuple[Line, ...]:
    """Return the place of key dip, and both weights over the window in which they were taken."""
    guides = []
    dip = result["key_dip"].value
    if dip is not None:
        guides.append(_guide("key dip", "dip", [dip, dip], [0.0, top], units))
    for name, look in (("down_weight", "down weight"), ("up_weight", "up weight")):
        value = result[name].value
        if result.window_mm is not None and value is not None:
            guides.append(_guide("", look, list(result.window_mm), [value, value], units))
    return tuple(guides)


def _guide(label: str, look: str, x_mm: list[float], y_newton: list[float], units: Units) -> Line:
    to = In(units)
    return Line(label=label, look=look, x=to(np.array(x_mm), "mm"), y=to(np.array(y_newton), "N"), read_off=False)


def _weights_in_words(result: KeyResult, units: Units, top: float) -> tuple[Note, ...]:
    if result.window_mm is None:
        return ()
    at, gap, clear = units.value(sum(result.window_mm) / 2.0, "mm"), 0.07 * top, 0.025 * top
    notes = []
    for name, letter in (("down_weight", "D"), ("up_weight", "U")):
        value = result[name].value
        if value is not None:
            above = letter == "D" or value < 1.5 * gap
            words = f"{letter} {number(value, 'N', units)}"
            notes.append(Note(at, units.value(value + clear if above else value - gap, "N"), words))
    return tuple(notes)
