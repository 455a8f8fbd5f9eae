"""One series watched by its three charts, and what its signals mean.

How it works: limits come from the baseline and from the family's widths; the later units are charted. If a chart
signals, the event that explains the series best is found, its share is taken out, and what is left is charted again,
against the same limits, until nothing signals. With several events each is found anew with the others taken out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from processing.control.change_points import Event, find_event
from processing.control.charts import (
    Baseline,
    Chart,
    SumChart,
    baseline_of,
    cumulative_sums,
    individuals,
    means,
    moving_average,
    moving_ranges,
    sample_baseline,
    standard_deviations,
)
from processing.control.family import Widths
from processing.control.settings import ControlSettings
from processing.stages import FloatArray

ROUNDS = 3
"""In which several events are found anew beside each other; more change nothing that matters."""


@dataclass(frozen=True, slots=True, eq=False)
class SampleCharts:
    """Means and standard deviations of some units in a row, limits at three sigma: for the eye.

    They are no part of the family, for they see what the moving average sees, later.
    """

    at: tuple[int, ...]
    """The last unit of each sample, from the first unit of the series."""
    means: Chart
    spreads: Chart


@dataclass(frozen=True, slots=True, eq=False)
class Watched:
    """A series with its charts. Charts begin after the baseline; places count from the first unit of the series."""

    values: FloatArray
    """(N,), oldest first; nan where a unit has none."""
    baseline: Baseline
    first_charted: int
    """Units of the baseline, with a value or without."""
    single: Chart
    ranges: Chart
    """For the eye; what it shows is in the others too, so it does not signal."""
    average: Chart
    sums: SumChart
    samples: SampleCharts | None
    """None: the baseline or what follows makes fewer than two samples."""
    events: tuple[Event, ...]

    @property
    def signals(self) -> dict[str, tuple[int, ...]]:
        """Return at which units each chart signals; charts that do not are left out."""
        found: dict[str, Chart | SumChart] = {
            "single values": self.single,
            "moving average": self.average,
            "cumulative sums": self.sums,
        }
        charted = {name: tuple(self.first_charted + at for at in chart.signals) for name, chart in found.items()}
        return {name: places for name, places in charted.items() if places}


def watch(values: FloatArray, first_charted: int, widths: Widths, settings: ControlSettings) -> Watched:
    """Return a series' charts and events; its first units are the baseline, with a spread of their own."""
    baseline = baseline_of(values[:first_charted], spread="standard deviation")
    single, average, sums = _charts(values[first_charted:], baseline, widths, settings)
    ranges = moving_ranges(values[first_charted:], baseline)
    events = _events(values, first_charted, baseline, widths, settings)
    samples = sample_charts(values, first_charted, settings.sample)
    return Watched(values, baseline, first_charted, single, ranges, average, sums, samples, events)


def sample_charts(values: FloatArray, first_charted: int, size: int) -> SampleCharts | None:
    """Return the charts of samples of `size` known values in a row; what is left over at the end waits.

    The spread within a sample is that between units made one after another; a slower wandering makes means signal.
    """
    known = np.flatnonzero(np.isfinite(values))
    before, after = known[known < first_charted], known[known >= first_charted]
    frozen, charted = _samples(before, size), _samples(after, size)
    if len(frozen) < 2 or len(charted) < 2:
        return None
    baseline = sample_baseline([values[places] for places in frozen])
    later = [values[places] for places in charted]
    at = tuple(int(places[-1]) for places in charted)
    return SampleCharts(at, means(later, baseline), standard_deviations(later, baseline))


def _samples(places: NDArray[np.intp], size: int) -> list[NDArray[np.intp]]:
    return [places[begun : begun + size] for begun in range(0, len(places) - size + 1, size)]


def _charts(
    values: FloatArray, baseline: Baseline, widths: Widths, settings: ControlSettings
) -> tuple[Chart, Chart, SumChart]:
    return (
        individuals(values, baseline, width=widths.single),
        moving_average(values, baseline, weight=settings.weight, width=widths.average),
        cumulative_sums(values, baseline, allowance=settings.allowance, width=widths.sums),
    )


def _events(
    values: FloatArray, first_charted: int, baseline: Baseline, widths: Widths, settings: ControlSettings
) -> tuple[Event, ...]:
    """Return what explains the signals, in the order of time, places in the whole series."""
    known = np.flatnonzero(np.isfinite(values))
    series, after = values[known], int((known < first_charted).sum())
    events: list[Event] = []
    while len(events) < settings.most_events:
        left = series - _explained(events, len(series))
        if not any(chart.signals for chart in _charts(left[after:], baseline, widths, settings)):
            break
        event = find_event(left, after=after, coverage=settings.coverage)
        if event is None:
            break
        events = _beside_each_other([*events, event], series, after, settings.coverage)
    return tuple(sorted((_placed(event, known, len(values)) for event in events), key=lambda event: event.first))


def _beside_each_other(events: list[Event], series: FloatArray, after: int, coverage: float) -> list[Event]:
    """Find each of several events anew with the others taken out."""
    if len(events) == 1:
        return events
    for _ in range(ROUNDS):
        for place in range(len(events)):
            others = [*events[:place], *events[place + 1 :]]
            again = find_event(series - _explained(others, len(series)), after=after, coverage=coverage)
            events = events if again is None else [*events[:place], again, *events[place + 1 :]]
    return events


def _explained(events: list[Event], count: int) -> FloatArray:
    return np.sum([event.contribution for event in events], axis=0) if events else np.zeros(count)


def _placed(event: Event, known: NDArray[np.intp], count: int) -> Event:
    """Return an event of the units with a value as one of all units."""
    ends = None if event.last_between is None else tuple(int(known[place]) for place in event.last_between)
    return Event(
        kind=event.kind,
        first=int(known[event.first]),
        first_between=(int(known[event.first_between[0]]), int(known[event.first_between[1]])),
        last=None if event.last is None else int(known[event.last]),
        last_between=None if ends is None else (ends[0], ends[1]),
        size=event.size,
        size_u=event.size_u,
        count=count,
    )
