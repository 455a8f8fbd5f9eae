"""What has changed along a line: the events of single charts put together where they tell of the same thing.

How it works: events of one measurand in several groups of keys are one piece of news if they are of the same kind and
sign and the intervals of their beginnings overlap with that of the surest of them, whose place is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from processing.control.change_points import Event
from processing.features.table import FEATURES
from processing.trend.groups import GROUPS, KeyGroup
from processing.trend.line import Line, LineSeries
from processing.trend.units_of_line import CONDITIONS, Units

OFTEN = 5
"""A condition that changes more often along the line says nothing about one change (own choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class News:
    """One thing that has changed, or a signal that no single change explains. Places count units from 0."""

    measurand: str
    unit: str
    series: tuple[LineSeries, ...]
    """Where it shows, the surest first."""
    events: tuple[Event, ...]
    """One of each series, in their order; empty: unexplained."""
    first_signal: int
    """The first unit at which a chart of these series signals from this event on."""
    charts: tuple[str, ...]
    """Names of the charts that signal there or later."""
    conditions: tuple[tuple[str, int], ...]
    """What the line was measured by and was changed where the event begins: name, first unit with the new."""

    @property
    def event(self) -> Event | None:
        """Return the surest of its events."""
        return self.events[0] if self.events else None


def news_of(line: Line) -> tuple[News, ...]:
    """Return what has changed, in the order of time."""
    found = [news for name in dict.fromkeys(one.measurand for one in line.series) for news in _of_measurand(line, name)]
    return tuple(sorted(found, key=lambda news: news.event.first if news.event else news.first_signal))


def _of_measurand(line: Line, name: str) -> Iterator[News]:
    mine = [one for one in line.series if one.measurand == name and one.watched.signals]
    pairs = [(one, event) for one in mine for event in one.watched.events]
    pairs.sort(key=lambda pair: -abs(pair[1].size) / max(pair[1].size_u, 1e-300))
    while pairs:
        lead = pairs[0][1]
        same = _one_a_series([pair for pair in pairs if _tell_of_the_same(lead, pair[1])])
        yield _news(line, [one for one, _ in same], [event for _, event in same])
        pairs = [pair for pair in pairs if pair not in same]
    unexplained = [one for one in mine if not one.watched.events]
    if unexplained:
        yield _news(line, unexplained, [])


def _tell_of_the_same(lead: Event, other: Event) -> bool:
    overlap = lead.first_between[0] <= other.first_between[1] and other.first_between[0] <= lead.first_between[1]
    return lead.kind == other.kind and lead.size * other.size > 0.0 and overlap


def _one_a_series(pairs: Sequence[tuple[LineSeries, Event]]) -> list[tuple[LineSeries, Event]]:
    chosen: dict[int, tuple[LineSeries, Event]] = {}
    for pair in pairs:
        chosen.setdefault(id(pair[0]), pair)
    return list(chosen.values())


def _news(line: Line, series: list[LineSeries], events: list[Event]) -> News:
    begun = min((event.first for event in events), default=0)
    signals = {
        chart: [at for at in places if at >= begun] for one in series for chart, places in one.watched.signals.items()
    }
    late = {chart: places for chart, places in signals.items() if places}
    first = min((places[0] for places in late.values()), default=begun)
    conditions = _conditions(line.units, events[0]) if events else ()
    return News(series[0].measurand, series[0].unit, tuple(series), tuple(events), first, tuple(late), conditions)


def _conditions(units: Units, event: Event) -> tuple[tuple[str, int], ...]:
    found = []
    for name in CONDITIONS:
        told = units.conditions[name]
        changes = [at for at in range(1, len(told)) if told[at] != told[at - 1]]
        low, high = event.first_between
        within = [at for at in changes if low <= at <= high]
        if within and len(changes) <= OFTEN:
            found.append((name, within[0]))
    return tuple(found)


def caption_of(measurand: str) -> str:
    """Return how people call a measurand."""
    return next(feature.caption for feature in FEATURES if feature.name == measurand)


def groups_in_words(groups: Sequence[KeyGroup]) -> str:
    """Return groups of keys in few words: whole colours and whole ranges by their own names.

    >>> groups_in_words(GROUPS), groups_in_words(GROUPS[:3]), groups_in_words(GROUPS[::3])
    ('all keys', 'naturals', 'bass')
    """
    left, words = set(groups), []
    if left == set(GROUPS):
        return "all keys"
    wholes = [(f"{colour}s", {one for one in GROUPS if one.colour == colour}) for colour in ("natural", "sharp")]
    wholes += [(part, {one for one in GROUPS if one.range.name == part}) for part in ("bass", "middle", "treble")]
    for name, whole in wholes:
        if whole <= left:
            words.append(name)
            left -= whole
    return "; ".join([*words, *(one.name for one in GROUPS if one in left)])
