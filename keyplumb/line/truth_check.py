"""Holds what was found on a simulated line against what was planted in it, and verdicts against true values.

How it works: a piece of news belongs to a planted event if it is of its kind, in a measurand that the event's quantity
shows in, and its stated beginning is no further from the true one than its own interval is wide. News that belongs to
no event, and is not of a single unit with a bad key, is a false alarm. A unit is bad in truth if one of its keys was
made wrong, or a true value lies outside the limits that it was judged by.
"""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from processing.limits.conformity import Outcome
from processing.limits.verdict import Decision, UnitVerdict
from processing.trend.line import Line as Charted
from processing.trend.news import News, news_of
from rig.virtual.line_of_units import BadKey, Line, LineEvent, serial_of

SHOWS_IN = {
    "friction_newton": ("friction", "down_weight", "up_weight"),
    "balance_newton": ("down_weight", "up_weight"),
    "break_away_newton": ("breakaway",),
    "bed_start_mm": ("key_dip",),
    "letoff_crest_mm": ("letoff_peak_position",),
    "letoff_newton": ("letoff_drop",),
    "note_on_mm": ("trigger_position",),
}
"""Charted measurands that a quantity of the mechanism moves; of one that is not listed here any will do."""


@dataclass(frozen=True, slots=True)
class EventCheck:
    """A planted event and the news that tell of it, the surest first; none: it was missed."""

    planted: LineEvent
    news: tuple[News, ...]

    def surest(self) -> News | None:
        """Return the news whose beginning is known best."""
        return min(self.news, key=lambda news: _width(news), default=None)


@dataclass(frozen=True, slots=True)
class BadKeyCheck:
    """A key that was made wrong, and whether its own verdict is a fail."""

    planted: BadKey
    serial: str
    failed: bool


@dataclass(frozen=True, slots=True)
class LineCheck:
    """The whole comparison."""

    events: tuple[EventCheck, ...]
    false_alarms: tuple[News, ...]
    bad_keys: tuple[BadKeyCheck, ...]
    verdicts: Counter[tuple[bool, Outcome]]
    """How many units are good in truth (or not) and were judged so."""
    wrongly_passed: tuple[str, ...]
    wrongly_failed: tuple[str, ...]
    stated_wrong: float
    """Sum of the stated probabilities of being wrong, of units that have one: at most so many verdicts."""

    @property
    def right(self) -> bool:
        """Whether every planted event and bad key was found, and nothing invented."""
        found = all(event.news for event in self.events) and all(bad.failed for bad in self.bad_keys)
        return found and not self.false_alarms


def check_line(truths: Path, charted: Charted, verdicts: list[UnitVerdict]) -> LineCheck:
    """Return the comparison with the truths that `record_line` wrote down."""
    told = json.loads(truths.read_text(encoding="utf-8"))
    line = Line.model_validate(told["line"])
    by_serial = {str(verdict.header.run.serial): verdict for verdict in verdicts}
    news = news_of(charted)
    events = tuple(EventCheck(event, tuple(one for one in news if _tells_of(one, event))) for event in line.events)
    explained = {id(one) for event in events for one in event.news}
    bad_serials = {serial_of(line, bad.unit) for bad in line.bad_keys}
    alarms = [one for one in news if id(one) not in explained and not _is_of_a_bad_unit(one, charted, bad_serials)]
    good = {serial: _is_good(verdict, told["units"][serial]) for serial, verdict in by_serial.items()}
    return LineCheck(
        events,
        tuple(alarms),
        tuple(_bad_key(line, bad, by_serial) for bad in line.bad_keys),
        Counter((good[serial], verdict.outcome) for serial, verdict in by_serial.items()),
        tuple(serial for serial, one in by_serial.items() if one.outcome == "pass" and not good[serial]),
        tuple(serial for serial, one in by_serial.items() if one.outcome == "fail" and good[serial]),
        sum(verdict.wrong or 0.0 for verdict in verdicts),
    )


def _tells_of(news: News, planted: LineEvent) -> bool:
    shows_in = SHOWS_IN.get(planted.quantity, (news.measurand,))
    if news.event is None or news.event.kind != planted.kind or news.measurand not in shows_in:
        return False
    low, high = news.event.first_between
    return low - _width(news) <= planted.from_unit - 1 <= high + _width(news)


def _width(news: News) -> int:
    """Return over how many units the beginning of a change may lie."""
    if news.event is None:
        return 0
    low, high = news.event.first_between
    return high - low + 1


def _is_of_a_bad_unit(news: News, charted: Charted, bad_serials: set[str]) -> bool:
    single = news.event is not None and news.event.kind == "single unit"
    return single and news.event is not None and charted.units.labels[news.event.first] in bad_serials


def _bad_key(line: Line, bad: BadKey, by_serial: dict[str, UnitVerdict]) -> BadKeyCheck:
    serial = serial_of(line, bad.unit)
    failed = any(key.outcome == "fail" and key.key.number == bad.key for key in by_serial[serial].keys)
    return BadKeyCheck(bad, serial, failed)


def _is_good(verdict: UnitVerdict, truths: list[dict[str, Any]]) -> bool:
    """Tell whether no key was made wrong and every true value lies within the limits it was judged by."""
    features = {key["key"]: key["features"] for key in truths}
    if any(key["fault"] for key in truths):
        return False
    decisions = [decision for key in verdict.keys for decision in key.decisions]
    return not any(_truly_outside(decision, features) for decision in decisions)


def _truly_outside(decision: Decision, features: dict[str, dict[str, float | None]]) -> bool:
    truth = features[decision.key.name].get(decision.code) if decision.key else None
    if truth is None:
        return False
    above = decision.upper is not None and truth > decision.upper
    return above or (decision.lower is not None and truth < decision.lower)
