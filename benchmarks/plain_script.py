"""The same static numbers by a plain script of pandas and scipy: what a survey costs without us.

    python -m benchmarks.plain_script SURVEY.h5

How it works, as one would write it at the bench: read a key with h5py, turn counts into N and mm, put outliers aside by
a rolling median, find the presses with scipy.signal.find_peaks, take zero and touch from each, average each way in
bins of 0.01 mm, smooth by Savitzky and Golay, average the strokes, read off by the definitions of measurands.md.
Written to be clear. Left out, so it has less to do: uncertainties, findings, notes, dampers, shoulders, inertia, what
goes wrong at a real bench.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
from scipy.signal import find_peaks, savgol_filter

STEP_MM, SMOOTH_POINTS = 0.01, 25
TOUCH_NEWTON, TOUCH_STAYS_MM, BED_NEWTON = 0.05, 0.1, 3.0


def keys_of(path: Path) -> Iterator[tuple[int, pd.DataFrame]]:
    """Yield each key's number and its samples: time_s, mm, newton."""
    with h5py.File(path) as file:
        for name, group in file["entry"].items():
            if not (name.startswith("key_") and name[4:].isdecimal()):
                continue
            counts = {column: group[f"{column}_counts"] for column in ("displacement", "force")}
            scale = {column: group[f"{column}_counts_scaling_factor"][()] for column in counts}
            offset = {column: group[f"{column}_counts_offset"][()] for column in counts}
            yield (
                int(name[4:]),
                pd.DataFrame(
                    {
                        "time_s": group["tick_us"][()] * 1e-6,
                        "mm": counts["displacement"][()] * scale["displacement"] + offset["displacement"],
                        "newton": counts["force"][()] * scale["force"] + offset["force"],
                    }
                ),
            )


def without_outliers(samples: pd.DataFrame) -> pd.DataFrame:
    """Leave out samples that stand 0.1 N or 0.1 mm off the median of the five around them."""
    values = samples[["mm", "newton"]]
    off = (values - values.rolling(5, center=True, min_periods=1).median()).abs()
    return samples[(off <= 0.1).all(axis=1)]


def strokes_of(samples: pd.DataFrame) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
    """Yield the way down and the way up of each press, x = 0 at touch, zero of the cell taken out."""
    way = samples["mm"].to_numpy()
    turns, _ = find_peaks(way, prominence=2.0)
    edges = [0, *((before + after) // 2 for before, after in pairwise(turns)), len(way)]
    for start, turn, end in zip(edges[:-1], turns, edges[1:], strict=True):
        press = samples.iloc[start:end].copy()
        at_rest = press["mm"] <= press["mm"].min() + 0.1
        press["newton"] -= press.loc[at_rest, "newton"].mean()
        down, up = press.iloc[: turn - start + 1], press.iloc[turn - start :]
        touch_mm = touch_of(down["mm"].to_numpy(), down["newton"].to_numpy())
        yield down.assign(mm=down["mm"] - touch_mm), up.assign(mm=up["mm"] - touch_mm)


def touch_of(way: np.ndarray, force: np.ndarray) -> float:
    """Where the force first rises through 0.05 N and stays above it for 0.1 mm."""
    crossings = np.flatnonzero((force[1:] >= TOUCH_NEWTON) & (force[:-1] < TOUCH_NEWTON)) + 1
    for at in crossings:
        after = force[(np.arange(len(way)) >= at) & (way <= way[at] + TOUCH_STAYS_MM)]
        if (after >= TOUCH_NEWTON).all():
            return float(np.interp(TOUCH_NEWTON, force[at - 1 : at + 1], way[at - 1 : at + 1]))
    return float(way[0])


def smooth_curve(branch: pd.DataFrame, grid: np.ndarray) -> np.ndarray:
    """Force on an even grid: means of bins, straight across empty ones, then Savitzky and Golay."""
    here = branch[(branch["mm"] >= 0.0) & (branch["mm"] <= grid[-1] + STEP_MM)]
    bins = here.groupby((here["mm"] / STEP_MM).round().astype(int))[["mm", "newton"]].mean()
    return savgol_filter(np.interp(grid, bins["mm"], bins["newton"]), SMOOTH_POINTS, 2)


def crossing(x: np.ndarray, y: np.ndarray, after: int, level: float) -> float:
    """Where y passes a level between the points after - 1 and after."""
    low, high = y[after - 1], y[after]
    return float(x[after - 1] + (x[after] - x[after - 1]) * np.clip((level - low) / (high - low), 0.0, 1.0))


def features_of(x: np.ndarray, down: np.ndarray, up: np.ndarray) -> dict[str, float]:
    """Read the numbers off the mean curve."""
    found: dict[str, float] = {}
    in_bed = np.flatnonzero((x > x[-1] / 2) & (down >= BED_NEWTON))[0]
    dip = crossing(x, down, in_bed, BED_NEWTON)
    peaks, shape = find_peaks(down[:in_bed], prominence=0.02)
    late = peaks[x[peaks] > 0.5 * dip]
    peak = int(late[np.argmax(shape["prominences"][x[peaks] > 0.5 * dip])]) if len(late) else None
    found["key_dip"] = dip
    found["bed_contact"] = contact = bed_contact(x, down, peak or round(0.6 * dip / STEP_MM), in_bed)
    onset = None
    if peak is not None:
        onset = add_letoff(found, x, down, peak, in_bed)
    add_weights(found, x, down, up, contact, onset)
    add_works(found, x, down, up, contact)
    return found


def bed_contact(x: np.ndarray, down: np.ndarray, first: int, in_bed: int) -> float:
    """Walking back from the dip, where the force has fallen to 0.10 N above the lowest."""
    level = lowest_between(down, first, in_bed) + 0.10
    last_below = first + np.flatnonzero(down[first:in_bed] <= level)[-1]
    return crossing(x, down, last_below + 1, level)


def lowest_between(down: np.ndarray, first: int, in_bed: int) -> float:
    """The lowest force, half a window clear of the bed: there the smoothed curve dips before it bends."""
    part = down[first:in_bed]
    bend = np.flatnonzero(part <= part.min() + 0.10)[-1]
    return float(part[: max(bend - SMOOTH_POINTS // 2, 1)].min())


def add_letoff(found: dict[str, float], x: np.ndarray, down: np.ndarray, peak: int, in_bed: int) -> float:
    """Add the numbers of the let-off and return where it begins."""
    left, middle, right = down[peak - 1 : peak + 2]
    top_mm = x[peak] + 0.5 * STEP_MM * (left - right) / (left - 2.0 * middle + right)
    before = down[peak - 250 : peak - 149].mean()
    lowest = lowest_between(down, peak, in_bed)
    rise, drop = middle - before, middle - lowest
    low = np.flatnonzero(down[:peak] <= before + 0.1 * rise)[-1]
    fallen = peak + np.flatnonzero(down[peak:in_bed] <= middle - 0.9 * drop)[0]
    onset = crossing(x, down, low + 1, before + 0.1 * rise)
    end = crossing(x, down, fallen, middle - 0.9 * drop)
    inside = (x >= onset) & (x <= end)
    found.update(
        aftertouch=found["key_dip"] - top_mm,
        letoff_peak_position=top_mm,
        letoff_peak_force=middle,
        letoff_onset_position=onset,
        letoff_end_position=end,
        letoff_rise=rise,
        letoff_drop=drop,
        letoff_ratio=drop / middle,
        letoff_slope=-np.gradient(down, STEP_MM)[peak : fallen + 1].min(),
        letoff_work=np.trapezoid(np.maximum(down[inside] - before, 0.0), x[inside]),
        weight_to_letoff=down[(x >= 1.0) & (x <= onset)].max(),
    )
    return onset


def add_weights(
    found: dict[str, float], x: np.ndarray, down: np.ndarray, up: np.ndarray, contact: float, onset: float | None
) -> None:
    """Add what sinks the key and what it lifts."""
    window = (x >= 1.5) & (x <= (0.6 * contact if onset is None else onset - 0.5))
    d, u = down[window].mean(), up[window].mean()
    second = (x >= 1.0) & (x <= 2.0)
    found.update(
        down_weight=d,
        up_weight=u,
        balance_weight=(d + u) / 2.0,
        friction=(d - u) / 2.0,
        lift_weight=up[(x >= 0.3) & (x <= contact)].min(),
        breakaway=max(0.0, down[x <= 1.0].max() - down[second].mean()),
    )


def add_works(found: dict[str, float], x: np.ndarray, down: np.ndarray, up: np.ndarray, contact: float) -> None:
    """Add the integrals of the forces from touch to bed contact."""
    inside = x <= contact
    press, back = np.trapezoid(down[inside], x[inside]), np.trapezoid(up[inside], x[inside])
    found.update(press_work=press, return_work=back, loop_work=press - back)


def measure_key(samples: pd.DataFrame) -> dict[str, float]:
    """Return the numbers of one key."""
    strokes = list(strokes_of(without_outliers(samples)))
    grid = np.arange(0.0, min(down["mm"].max() for down, _ in strokes), STEP_MM)
    downs = [smooth_curve(down, grid) for down, _ in strokes]
    ups = [smooth_curve(up.iloc[::-1], grid) for _, up in strokes]
    return features_of(grid, np.mean(downs, axis=0), np.mean(ups, axis=0))


def measure_survey(path: Path) -> pd.DataFrame:
    """Return the numbers of a survey, a row per key."""
    return pd.DataFrame({number: measure_key(samples) for number, samples in keys_of(path)}).T


if __name__ == "__main__":
    print(measure_survey(Path(sys.argv[1])).to_string())
