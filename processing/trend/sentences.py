"""News of a line in sentences, and what must be known to believe them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.stats import t

from processing.control.change_points import Event
from processing.display import Units as Shown
from processing.display import count_of, with_unit
from processing.trend.capable import Capable
from processing.trend.groups import KeyGroup
from processing.trend.line import Line
from processing.trend.news import News, caption_of, groups_in_words, news_of

CHARTS = {"single values": "single values", "moving average": "moving average (EWMA)",
          "cumulative sums": "cumulative sums (CUSUM)"}  # fmt: skip
CONDITIONS = {
    "operator": "the operator", "rig": "the rig", "calibration_id": "the calibration",
    "software_version": "the software",
}  # fmt: skip
MUCH_MEASURING = 0.25
"""Share of a chart's variance from which on measuring is named: it then widens limits by a seventh (own choice)."""
MUCH_WIDER = 3.0
"""Times the index: an interval wider than that tells hardly more than the sign of it (own choice)."""


def marked_for(line: Line, shown: Shown) -> Shown:
    """Return units that say beside every force if it rests on no valid calibration."""
    bad, count = line.units.uncalibrated, len(line.units.ids)
    if not bad:
        return shown
    return replace(shown, force_mark="uncalibrated" if bad == count else "partly uncalibrated")


def news_sentences(line: Line, shown: Shown) -> tuple[str, ...]:
    """Return a sentence for each thing that has changed; one that says so if nothing has."""
    if not line.series:
        return ("Nothing could be charted, so nothing is known of changes.",)
    found = tuple(sentence_of(news, line, shown) for news in news_of(line))
    after = len(line.units.ids) - line.units.baseline
    return found or (f"Nothing has changed: no chart signals in {count_of(after, 'unit')} after the baseline.",)


def sentence_of(news: News, line: Line, shown: Shown) -> str:
    """Return one piece of news in words, with numbers."""
    labels = line.units.labels
    where = groups_in_words([one.group for one in news.series])
    what = f"{caption_of(news.measurand)} ({where})"
    said = _listed([CHARTS[chart] for chart in news.charts]) or "the charts"
    by = f"{said} beyond the limits, first at {labels[news.first_signal]}"
    if news.event is None:
        return f"{what}: {by}; no single step, drift or batch explains it."
    conditions = "".join(
        f" {CONDITIONS[name].capitalize()} was changed at {labels[at]}, within that: look at it before the process."
        for name, at in news.conditions
    )
    return f"{what}: {_event_words(news, news.event, line, shown)}; {by}.{conditions}"


def _event_words(news: News, event: Event, line: Line, shown: Shown) -> str:
    labels, size = line.units.labels, _size_words(news, shown)
    up = event.size > 0.0
    first, begins = labels[event.first], _between_words("begins", event.first_between, labels)
    if event.kind == "single unit":
        return f"{first} alone is {'higher' if up else 'lower'} by {size}"
    if event.kind == "step":
        return f"steps {'up' if up else 'down'} at {first} by {size} and stays there ({begins})"
    if event.kind == "drift":
        return f"drifts {'upward' if up else 'downward'} since {first} ({begins}); {size} by {labels[-1]}"
    last = labels[event.last or event.first]
    ends = _between_words("ends", event.last_between or (event.first, event.first), labels)
    higher = "higher" if up else "lower"
    return f"a batch, {first} to {last}, is {higher} by {size} ({begins}, {ends})"


def _listed(words: Sequence[str]) -> str:
    """Return words as people list them: a, b and c."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)


def _between_words(verb: str, between: tuple[int, int], labels: list[str]) -> str:
    low, high = (labels[at] for at in between)
    return f"{verb} there" if low == high else f"{verb} between {low} and {high}"


def _size_words(news: News, shown: Shown) -> str:
    """Return the size of an event: with its interval in one group, the least and the largest of several."""
    sizes = sorted(abs(event.size) for event in news.events)
    if len(sizes) == 1:
        event = news.events[0]
        half = float(t.ppf(0.975, max(event.count - 3, 1))) * event.size_u
        return f"{with_unit(sizes[0], news.unit, shown)} ± {with_unit(half, news.unit, shown)}"
    low, high = (with_unit(size, news.unit, shown) for size in (sizes[0], sizes[-1]))
    return low if low == high else f"{low} to {high} over {len(sizes)} groups of keys"


def capable_sentence(one: Capable) -> str:
    """Return how capable the process is at the worst key of a group, and why that is known so badly if it is."""
    ppk = one.found.ppk
    said = f"{caption_of(one.measurand)} ({one.group.name}): Ppk {ppk.value:.2f} ({ppk.low:.2f} to {ppk.high:.2f})"
    past = "" if one.in_control else " Of the past only: a chart signals."
    return f"{said} at the worst key, {one.key.name}.{wide_words(one)}{past}"


def wide_words(one: Capable) -> str:
    """Return why the interval of an index tells little; empty: it is not so wide."""
    ppk = one.found.ppk
    if ppk.high - ppk.low <= MUCH_WIDER * abs(ppk.value):
        return ""
    why = "" if one.found.by == "normal values" else ", and their values are far from normal"
    return f" So wide an interval tells little: it rests on {one.found.count} units{why}."


def rate_sentences(line: Line) -> tuple[str, ...]:
    """Return how often such charts cry wolf, and what they rest on."""
    units, settings = line.units, line.settings
    charted = len(units.ids) - units.baseline
    if not line.series:
        return ()
    rate = f"{100.0 * settings.false_alarms:g}"
    found = [
        f"{count_of(len(units.ids), 'unit')} of {units.model}, one measuring each, the latest; limits are frozen from "
        f"the first {units.baseline} ({units.labels[0]} to {units.labels[units.baseline - 1]}).",
        f"{count_of(len(line.series), 'series')} with three charts each are one family: if nothing changes, {rate} of "
        f"100 such families show any signal at all within {settings.horizon} units after the baseline. Limits stand "
        f"that wide, at {_widths(line)}; it counts that they rest on {units.baseline} units only.",
        "The rate is for independent, normal units; series that go together cry wolf less often.",
    ]
    if charted > settings.horizon:
        found.append(f"{charted} units are charted, more than {settings.horizon}: expect signals by chance more often.")
    return tuple(found)


def _widths(line: Line) -> str:
    widths = line.series[0].widths
    return f"{widths.single:.1f} sigma for single values and {widths.average:.1f} for the moving average"


def cautions(line: Line) -> tuple[str, ...]:
    """Return what speaks against believing the charts as they are."""
    units, alpha = line.units, line.settings.unsteady_alpha / max(1, len(line.series))
    found = []
    if units.uncalibrated:
        found.append(
            f"{count_of(units.uncalibrated, 'unit')} without a valid calibration: their forces are not traceable."
        )
    if units.without_serial:
        found.append(f"{count_of(units.without_serial, 'measuring')} without a serial number: each counts as a unit.")
    if units.before:
        found.append(f"{count_of(units.before, 'unit')} from before the baseline are not charted.")
    found += _baseline_cautions(line, alpha)
    much = [one for one in line.series if one.measuring_share >= MUCH_MEASURING]
    if much:
        names = "; ".join(sorted({caption_of(one.measurand) for one in much}))
        found.append(
            "The spread of a chart is that of the units and that of measuring them. Measuring may make up a quarter "
            f"of it or more in {names}: a better rig or more strokes would narrow the limits, and a rig that becomes "
            "worse looks like a worse process."
        )
    return tuple(found)


def _baseline_cautions(line: Line, alpha: float) -> list[str]:
    skewed = [one for one in line.series if one.unsteady.not_normal_p < alpha]
    restless = [one for one in line.series if one.unsteady.not_random_p < alpha]
    found = []
    for some, why in (
        (skewed, "is far from normal, so false alarms are more frequent than stated"),
        (restless, "is not steady: units resemble the ones before them. Choose another with --baseline"),
    ):
        if some:
            names = "; ".join(f"{caption_of(one.measurand)} ({one.group.name})" for one in some)
            found.append(f"The baseline {why}: {names}.")
    return found


def left_out_sentences(line: Line) -> tuple[str, ...]:
    """Return what is not charted and why, a sentence for all measurands that lack the same groups of keys."""
    groups_of: dict[tuple[str, str], list[KeyGroup]] = {}
    for one in line.left_out:
        groups_of.setdefault((one.measurand, one.why), []).extend([one.group] if one.group else [])
    alike: dict[tuple[tuple[KeyGroup, ...], str], list[str]] = {}
    for (measurand, why), groups in groups_of.items():
        alike.setdefault((tuple(groups), why), []).append(caption_of(measurand))
    return tuple(
        f"{'; '.join(captions)}{f' ({groups_in_words(groups)})' if groups else ''} "
        f"{'is' if len(captions) == 1 else 'are'} not charted: {why}."
        for (groups, why), captions in alike.items()
    )


def sigma_words(line: Line, shown: Shown) -> tuple[tuple[str, ...], ...]:
    """Return a row a series: measurand, keys, centre, sigma, largest share of measuring, verdict."""
    rows = []
    for one in line.series:
        base = one.watched.baseline
        share = "-" if np.isnan(one.measuring_share) else f"{100.0 * one.measuring_share:.0f} %"
        rows.append((
            caption_of(one.measurand), one.group.name, with_unit(base.centre, one.unit, shown),
            with_unit(base.sigma, one.unit, shown), share, ", ".join(one.watched.signals) or "in control",
        ))  # fmt: skip
    return tuple(rows)
