"""The picture of a force calibration: how far every reading lies off the curve, over the force, with its uncertainty.

How it works: up and down differ by shape and colour, cycles are slightly apart so that none hides another; the band is
the expanded uncertainty of the curve (k = 2), the dotted lines the lower limit factor either way.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from processing.calibration.force_steps import ForceCalibration, force_of

SHAPES = {"up": ("^", "#1f5fa8", "load laid on"), "down": ("v", "#c2571a", "load taken off")}
APART_SHARE = 0.004
"""Of the largest force, from cycle to cycle."""


def plot_residuals(calibration: ForceCalibration, path: Path, title: str) -> None:
    """Write the picture as PNG. title: which rig and when."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.0, 4.8), layout="constrained")
    axes = figure.add_subplot()
    _band(axes, calibration)
    cycles = max(row.cycle for row in calibration.residuals) + 1
    for way, (shape, colour, words) in SHAPES.items():
        rows = [row for row in calibration.residuals if row.way == way]
        apart = APART_SHARE * calibration.highest_newton
        axes.plot(
            [row.force_newton + apart * (row.cycle - (cycles - 1) / 2.0) for row in rows],
            [-1e3 * row.residual_newton for row in rows],
            linestyle="none",
            marker=shape,
            markersize=7.0,
            markerfacecolor="white" if way == "down" else colour,
            markeredgecolor=colour,
            label=words,
        )
    limit = 1e3 * calibration.lower_limit_newton
    axes.axhline(0.0, color="#444444", linewidth=0.8)
    for side in (-limit, limit):
        axes.axhline(side, color="#444444", linewidth=0.8, linestyle=":", label=None if side < 0.0 else LIMIT_WORDS)
    axes.set_xlabel("force laid on / N")
    axes.set_ylabel("force shown less force laid on / mN")
    axes.set_xlim(0.0, 1.05 * calibration.highest_newton)
    axes.margins(y=0.15)
    degree = "straight line" if calibration.choice.degree == 1 else "parabola"
    axes.set_title(f"{title}\n{degree} (p = {calibration.choice.p:.2g} for a bend by chance), {cycles} cycles")
    axes.grid(visible=True, color="#dddddd", linewidth=0.6)
    figure.legend(loc="outside lower center", ncols=4, frameon=False)
    figure.savefig(path, format="png", dpi=150)


LIMIT_WORDS = "lower limit, 2.4 s"


def _band(axes: object, calibration: ForceCalibration) -> None:
    net = np.linspace(0.0, max((row.net_counts for row in calibration.residuals), key=abs), 100)
    force, u = force_of(calibration, net)
    wide = 2e3 * u
    axes.fill_between(force, -wide, wide, color="#1f5fa8", alpha=0.15, linewidth=0.0, label="curve, k = 2")  # type: ignore[attr-defined]
