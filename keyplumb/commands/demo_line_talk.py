"""What the demo of a line says: what the charts found, and how right that and the verdicts are."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from recordings.keys import Key

if TYPE_CHECKING:
    from keyplumb.line.truth_check import EventCheck, LineCheck
    from processing.display import Units
    from processing.limits.conformity import Outcome
    from processing.trend.line import Line as Charted
    from rig.virtual.line_of_units import Line

T = TypeVar("T")

OUTCOMES: tuple[Outcome, ...] = ("pass", "fail", "cannot tell")
FEW = 8
"""More serial numbers than this are counted and not told one by one."""


class Timed:
    """How long each step took."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    def __call__(self, done: str, doing: str, work: Callable[[], T]) -> T:
        """Do a step, and keep its time. done, doing: what to call it afterwards and meanwhile."""
        print(f"keyplumb: {doing}", file=sys.stderr, flush=True)
        begun = time.perf_counter()
        result = work()
        self.seconds[done] = time.perf_counter() - begun
        return result


def tell_line(line: Line, charted: Charted, check: LineCheck, timed: Timed, units: Units) -> None:
    """Print what was found and how right it is."""
    from processing.trend.sentences import marked_for, news_sentences, rate_sentences

    steps = ", ".join(f"{done} in {seconds:.0f} s" for done, seconds in timed.seconds.items())
    per_hour = 3600.0 * line.units / max(timed.seconds.get("inspected", 0.0), 1e-9)
    print(f"{line.units} units of {line.scenario}, {len(line.keys)} keys each: {steps};")
    print(f"{sum(timed.seconds.values()):.0f} s in all; measured and inspected at {per_hour:.0f} units an hour.")
    print("\nWhat the charts say")
    for sentence in news_sentences(charted, marked_for(charted, units)):
        print(f"  {sentence}")
    _tell_events(charted, check)
    for sentence in rate_sentences(charted):
        print(f"  {sentence}")
    _tell_bad_keys(check)
    _tell_verdicts(check)


def _tell_events(charted: Charted, check: LineCheck) -> None:
    from processing.trend.news import caption_of

    found = sum(bool(event.news) for event in check.events)
    print(f"\nHeld against what was planted: {found} of {len(check.events)} events found")
    for event in check.events:
        planted = event.planted
        until = f" to {_label(charted, planted.to_unit - 1)}" if planted.kind == "batch" else ""
        print(f"  {planted.kind} from {_label(charted, planted.from_unit - 1)}{until} ({planted.why})")
        print(f"    {_found_in_words(charted, event)}")
    print(f"  {len(check.false_alarms)} false alarms: news that nothing planted explains")
    for news in check.false_alarms:
        place = news.event.first if news.event else news.first_signal
        print(f"    {caption_of(news.measurand)} at {_label(charted, place)}")


def _found_in_words(charted: Charted, check: EventCheck) -> str:
    from processing.trend.news import caption_of

    surest = check.surest()
    if surest is None or surest.event is None:
        return "missed"
    low, high = surest.event.first_between
    truth = check.planted.from_unit - 1
    inside = "the truth lies inside" if low <= truth <= high else "the truth lies outside"
    between = f"{_label(charted, low)} to {_label(charted, high)}"
    ends = "" if surest.event.last is None else f" until {_label(charted, surest.event.last)}"
    first = _label(charted, surest.first_signal)
    names = "; ".join(dict.fromkeys(caption_of(news.measurand) for news in check.news))
    return (
        f"found in {names}: since {_label(charted, surest.event.first)}{ends}, stated {between}, {inside}; "
        f"its charts signal from {first} on"
    )


def _label(charted: Charted, place: int) -> str:
    return str(charted.units.labels[place])


def _tell_bad_keys(check: LineCheck) -> None:
    found = sum(bad.failed for bad in check.bad_keys)
    print(f"\nSingle bad keys: {found} of {len(check.bad_keys)} failed")
    for bad in check.bad_keys:
        words = bad.planted.kind.replace("_", " ")
        print(f"  {bad.serial}, {Key(bad.planted.key).name}, {words}: {'failed' if bad.failed else 'overlooked'}")


def _tell_verdicts(check: LineCheck) -> None:
    print("\nVerdicts against true values (bad: a key made wrong, or a true value outside the limits)")
    print(f"  {'in truth':10}" + "".join(f"{outcome:>13}" for outcome in OUTCOMES))
    for good, words in ((True, "good"), (False, "bad")):
        print(f"  {words:10}" + "".join(f"{check.verdicts[good, outcome]:13}" for outcome in OUTCOMES))
    for words, serials in (("wrongly passed", check.wrongly_passed), ("wrongly failed", check.wrongly_failed)):
        names = f": {', '.join(serials[:FEW])}{', ...' if len(serials) > FEW else ''}" if serials else ""
        print(f"  {len(serials)} {words}{names}")
    print(f"  the verdicts themselves state: at most {check.stated_wrong:.1f} wrong")
