"""The law: what a stroke must be, one small function a fault, with the sentence for the person who presses."""

from __future__ import annotations

from daq.stroke_measure import StrokeNumbers
from daq.verdict import GRAM_FORCE_NEWTON, FaultKind, JudgeSettings, StrokeFault, inertia_newton


def faults_of(stroke: StrokeNumbers, settings: JudgeSettings) -> tuple[StrokeFault, ...]:
    """Return all that is wrong with a stroke that was seen whole."""
    found = (check(stroke, settings) for check in FAULT_CHECKS)
    return tuple(fault for fault in found if fault is not None)


def gap(holes: int, missing_s: float) -> StrokeFault:
    """No sample of a stroke may be missing. holes: places where some are."""
    long = f" ({missing_s * 1000:.0f} ms)" if missing_s else ""
    advice = f"Samples are missing in {holes} place(s){long}; press again, and see to the cable if it comes again."
    return StrokeFault(FaultKind.GAP, float(holes), 0.0, "1", advice)


def _not_to_the_bed(stroke: StrokeNumbers, settings: JudgeSettings) -> StrokeFault | None:
    """The key dip is read at bed_newton, so the force must get there."""
    if stroke.peak_newton >= settings.bed_newton:
        return None
    advice = (
        f"The force came to {stroke.peak_newton:.1f} N at {stroke.depth_mm:.1f} mm; "
        f"press on until the bed gives {settings.bed_newton:g} N, then let go."
    )
    return StrokeFault(FaultKind.NOT_TO_THE_BED, stroke.peak_newton, settings.bed_newton, "N", advice)


def _not_home(stroke: StrokeNumbers, settings: JudgeSettings) -> StrokeFault | None:
    """The key must come back to where the plunger touched it."""
    if stroke.left_over_mm <= settings.home_mm:
        return None
    advice = f"The plunger stayed {stroke.left_over_mm:.1f} mm down; let it come up until it is off the key."
    return StrokeFault(FaultKind.NOT_HOME, stroke.left_over_mm, settings.home_mm, "mm", advice)


def _preloaded(stroke: StrokeNumbers, settings: JudgeSettings) -> StrokeFault | None:
    """A stroke starts in the air: else it has no zero and no touch of its own."""
    if stroke.start_newton > settings.touch_newton:
        advice = f"It began with {stroke.start_newton:.2f} N on the key; lift the plunger off the key before you press."
        return StrokeFault(FaultKind.PRELOADED, stroke.start_newton, settings.touch_newton, "N", advice)
    if stroke.below_home_mm > settings.largest_reversal_mm:
        advice = f"It began {stroke.below_home_mm:.1f} mm down; lift the plunger off the key before you press."
        return StrokeFault(FaultKind.PRELOADED, stroke.below_home_mm, settings.largest_reversal_mm, "mm", advice)
    return None


def _too_fast(stroke: StrokeNumbers, settings: JudgeSettings) -> StrokeFault | None:
    """Inertia and viscosity add to the weight of a key that is moved fast."""
    up = stroke.up_mm_per_s or 0.0
    fastest = max(stroke.down_mm_per_s, up)
    if fastest <= settings.fastest_mm_per_s:
        return None
    way = "down" if fastest == stroke.down_mm_per_s else "up"
    grams = inertia_newton(settings, fastest) / GRAM_FORCE_NEWTON
    advice = (
        f"{fastest:.0f} mm/s on the way {way}, {settings.fastest_mm_per_s:g} at most: "
        f"getting a key so fast takes about {grams:.0f} gf by itself; move more slowly."
    )
    return StrokeFault(FaultKind.TOO_FAST, fastest, settings.fastest_mm_per_s, "mm/s", advice)


def _uneven(stroke: StrokeNumbers, settings: JudgeSettings) -> StrokeFault | None:
    """Speed stays about the same, and the plunger does not go back on its way."""
    if stroke.reversal_mm > settings.largest_reversal_mm:
        advice = f"The plunger went back {stroke.reversal_mm:.1f} mm on its way; go on without turning."
        return StrokeFault(FaultKind.UNEVEN, stroke.reversal_mm, settings.largest_reversal_mm, "mm", advice)
    if stroke.unevenness is not None and stroke.unevenness > settings.most_uneven:
        advice = "The speed went up and down, or the plunger stopped on its way; move as if through honey."
        return StrokeFault(FaultKind.UNEVEN, stroke.unevenness, settings.most_uneven, "1", advice)
    return None


FAULT_CHECKS = (_not_to_the_bed, _not_home, _preloaded, _too_fast, _uneven)
"""In the order of FaultKind, worst first: the screen shows them in this order."""
