"""A line as plain data: what `keyplumb trend --json` prints. Units are N, mm, s, mJ, always."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from processing.control.change_points import Event
from processing.control.pareto import ParetoRow
from processing.control.rules import rules_seen
from processing.control.watch import SampleCharts
from processing.display import Units as Shown
from processing.stages import FloatArray
from processing.trend.capable import Capable
from processing.trend.line import Line, LineSeries
from processing.trend.news import News, news_of
from processing.trend.sentences import cautions, left_out_sentences, news_sentences, rate_sentences

SCHEMA = "keyplumb.trend/1"
SI = Shown("N", "mm")


def trend_view(line: Line, capable: Sequence[Capable], pareto: Sequence[ParetoRow]) -> dict[str, Any]:
    """Return everything that is known of a line, ready for JSON."""
    units = line.units
    return {
        "schema": SCHEMA,
        "model": units.model,
        "in_control": line.in_control,
        "news": [_news_view(news, line) for news in news_of(line)],
        "sentences": [*news_sentences(line, SI), *rate_sentences(line), *cautions(line), *left_out_sentences(line)],
        "settings": asdict(line.settings) | {"statistic": line.statistic},
        "baseline": {"units": units.baseline, "first": units.labels[0], "last": units.labels[units.baseline - 1]},
        "units": [
            {"unit": label, "measuring": one, "measured_at": f"{when.isoformat()}Z", "outcome": outcome}
            for label, one, when, outcome in zip(
                units.labels, units.ids, units.measured_at, units.outcomes, strict=True
            )
        ],
        "series": [_series_view(one) for one in line.series],
        "capability": [_capable_view(one) for one in capable],
        "reasons": [asdict(row) for row in pareto],
    }


def _news_view(news: News, line: Line) -> dict[str, Any]:
    labels = line.units.labels
    return {
        "measurand": news.measurand,
        "unit": news.unit,
        "groups": [one.group.name for one in news.series],
        "kind": None if news.event is None else news.event.kind,
        "events": [_event_view(event, labels) for event in news.events],
        "charts": list(news.charts),
        "first_signal": labels[news.first_signal],
        "conditions_changed": [{"what": name, "at": labels[at]} for name, at in news.conditions],
    }


def _event_view(event: Event, labels: list[str]) -> dict[str, Any]:
    between = None if event.last_between is None else [labels[at] for at in event.last_between]
    return {
        "first": labels[event.first],
        "first_between": [labels[at] for at in event.first_between],
        "last": None if event.last is None else labels[event.last],
        "last_between": between,
        "size": event.size,
        "u": event.size_u,
    }


def _series_view(one: LineSeries) -> dict[str, Any]:
    watched = one.watched
    base = watched.baseline
    standard = (watched.values[watched.first_charted :] - base.centre) / base.sigma
    return {
        "measurand": one.measurand,
        "unit": one.unit,
        "group": one.group.name,
        "centre": base.centre,
        "sigma": base.sigma,
        "widths": {"single": one.widths.single, "average": one.widths.average, "sums": one.widths.sums},
        "values": _listed(watched.values),
        "moving_average": _listed(watched.average.points),
        "sums": {"high": _listed(watched.sums.high), "low": _listed(watched.sums.low), "limit": watched.sums.limit},
        "samples": _samples_view(watched.samples),
        "signals": {name: list(places) for name, places in watched.signals.items()},
        "rules_at_three_sigma": [
            {"rule": seen.rule.name, "at": [watched.first_charted + at for at in seen.at],
             "average_run_length": seen.rule.run_length}
            for seen in rules_seen(np.nan_to_num(standard))
        ],
        "measuring_share_at_most": _finite(one.measuring_share),
        "baseline_normal_p": one.unsteady.not_normal_p,
        "baseline_random_p": one.unsteady.not_random_p,
    }  # fmt: skip


def _samples_view(samples: SampleCharts | None) -> dict[str, Any] | None:
    if samples is None:
        return None
    return {
        "last_unit_of_each": list(samples.at),
        **{
            name: {"centre": chart.centre, "points": _listed(chart.points), "lower": _listed(chart.lower),
                   "upper": _listed(chart.upper), "beyond_three_sigma": list(chart.signals)}
            for name, chart in (("means", samples.means), ("standard_deviations", samples.spreads))
        },
    }  # fmt: skip


def _capable_view(one: Capable) -> dict[str, Any]:
    return {
        "measurand": one.measurand,
        "unit": one.unit,
        "group": one.group.name,
        "keys": one.keys,
        "worst_key": one.key.name,
        "lower": one.lower,
        "upper": one.upper,
        "in_control": one.in_control,
        **asdict(one.found),
    }


def _listed(values: FloatArray) -> list[float | None]:
    return [_finite(value) for value in values.tolist()]


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
