"""What a person who presses by hand sees: one line with a word and a bar. Plain characters, no colour to rely on.

How it works: both the present moment and a verdict become text of the same shape: word, bar, numbers. A verdict's word
stands in capitals, with the first fault's numbers and its advice after it; a caller may print it bold.
"""

from __future__ import annotations

from daq.verdict import Now, StrokeFault, StrokeVerdict

BAR_WIDTH = 16
WORD_WIDTH = 14
NEWTON = "N uncalibrated"
"""What is shown while a person presses rests on the scale that the rig states; the analysis uses the record."""
UNITS = {"1": "", "N": f" {NEWTON}"}


def word_and_bar(what: StrokeVerdict | Now) -> str:
    """Return one line for the terminal, without a line break; no brackets, so rich finds no markup in it.

    The bar of the moment is the share of the way to the bed; that of a verdict is full if the stroke is good, else it
    shows by how much the first fault misses its limit: `|` is the limit.
    """
    return _moment(what) if isinstance(what, Now) else _verdict(what)


def _moment(now: Now) -> str:
    force = f"  -   {NEWTON}" if now.force_newton is None else f"{now.force_newton:5.2f} {NEWTON}"
    bar = _bar(now.share)
    return f"{now.state.value:{WORD_WIDTH}} {bar} {now.depth_mm:4.1f} mm {force} {now.speed_mm_per_s:5.1f} mm/s"


def _verdict(verdict: StrokeVerdict) -> str:
    if verdict.good:
        numbers = f"{verdict.depth_mm:4.1f} mm {verdict.peak_newton:5.2f} {NEWTON} {verdict.down_mm_per_s:5.1f} mm/s"
        return f"{'GOOD':{WORD_WIDTH}} {_bar(1.0)} {numbers}"
    worst = verdict.faults[0]
    others = f" Also: {', '.join(fault.word for fault in verdict.faults[1:])}." if len(verdict.faults) > 1 else ""
    return f"{worst.word.upper():{WORD_WIDTH}} {_against_limit(worst)} {_numbers(worst)}. {worst.advice}{others}"


def _numbers(fault: StrokeFault) -> str:
    unit = UNITS.get(fault.unit, f" {fault.unit}")
    side = "at least" if fault.value < fault.limit else "at most"
    return f"{fault.value:.3g}{unit}, {side} {fault.limit:.3g}{unit}"


def _bar(share: float) -> str:
    filled = round(min(max(share, 0.0), 1.0) * BAR_WIDTH)
    return f"({'#' * filled}{'.' * (BAR_WIDTH - filled)})"


def _against_limit(fault: StrokeFault) -> str:
    """Return the bar of a value beside its limit, both on one scale that ends at the larger of the two."""
    largest = max(abs(fault.value), abs(fault.limit))
    bar = list(_bar(fault.value / largest if largest else 0.0))
    bar[1 + round(min(max(fault.limit / largest, 0.0), 1.0) * (BAR_WIDTH - 1)) if largest else 1] = "|"
    return "".join(bar)
