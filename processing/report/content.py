"""The report as a table of contents: every section of it, in the order of reading, for one recording or several."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import calibration_status, marked
from processing.display import Units
from processing.report.atlas import atlas, chosen_curves
from processing.report.blocks import Block, ReportContent, Section, Sentences
from processing.report.budget_bars import budget_charts, budgets_of
from processing.report.charts import Charts
from processing.report.choice import beside, chosen_keys
from processing.report.findings import Found, comparison_of, difference_tables, differences, travel
from processing.report.first_page import first_page, subtitles, title
from processing.report.letoff_close_up import letoff_close_up
from processing.report.methods import comparison_settings, methods, provenance, settings_table
from processing.report.motion import motion
from processing.report.note_map import note_maps
from processing.report.recorded import Described, Made, Recorded, described
from processing.report.statistics_tables import beyond_chance, sharps_tables, trend_tables
from processing.report.strips import strips
from processing.report.tables import all_numbers, key_tables, odd_tables, recording_tables
from processing.report.waterfall import waterfalls
from recordings.keys import Key


def build_content(
    recordings: Sequence[Recorded],
    units: Units,
    *,
    curves_of: tuple[Key, ...] = (),
    margins: dict[str, float] | None = None,
    made: Made | None = None,
) -> ReportContent:
    """Return the content of a report of one recording or several.

    curves_of: keys whose curves are shown in large; empty: a choice of plain and odd ones.
    margins: by measurand, up to which difference recordings are alike; None: the built-in ones.
    made: what makes the same report again; None: not told. Raises TooManyRecordings.
    """
    shown = described(recordings)
    found = comparison_of(shown, margins)
    keys, measured = chosen_keys(shown, curves_of), any(recorded.measured for recorded in shown)
    large = chosen_curves(shown, keys, units, beside(shown, keys))
    sections = (
        Section("In short", first_page(shown, found, units)),
        Section("Keys that stand out", odd_tables(shown, units) if measured else ()),
        Section("How they differ", differences(shown, found, units)),
        Section("Where in the travel they differ", travel(shown, found, units)),
        Section("From bass to treble", _shown(strips(shown, units), measured, "No number is known of any key.")),
        Section("Curves", _shown(large, measured, "No key has a curve.")),
        Section("Every key at a glance", _shown(atlas(shown, units), measured, "No key has a curve.")),
        Section("The let-off from close by", _shown(letoff_close_up(shown, units), measured, "No key has a let-off.")),
        Section("Where notes start and stop", _shown(note_maps(shown, units), measured, "No note was heard.")),
        Section("Keys in motion", _if_any(motion(shown, keys, units))),
        Section("What the weights are made of", _shown(waterfalls(shown, units), measured, "No weight is known.")),
        Section("Numbers", _numbers(shown, found, units)),
        Section("What the uncertainties are made of", _budgets(shown, keys, units)),
        Section("About the recording" + "s" * (len(shown) > 1), recording_tables(shown, units)),
        Section("How it was measured", (*methods(shown), settings_table(shown), *comparison_settings(found))),
        Section("How to make this report again", provenance(shown, units, made)),
    )
    return ReportContent(title(shown), subtitles(shown), tuple(section for section in sections if section.blocks))


def _numbers(recordings: Sequence[Described], found: Found, units: Units) -> tuple[Block, ...]:
    return (
        *difference_tables(recordings, found, units),
        *trend_tables(recordings, units),
        *sharps_tables(recordings, units),
        *beyond_chance(recordings, units),
        *key_tables(recordings, units),
        *all_numbers(recordings, units),
    )


def _if_any(charts: Charts | None) -> tuple[Block, ...]:
    return () if charts is None else (charts,)


def _shown(charts: Charts | None, measured: bool, instead: str) -> tuple[Block, ...]:
    """Return charts, or the sentence that says why there are none; of a recording without a curve one is enough."""
    if charts is None:
        return (Sentences((instead,)),) if measured else ()
    return (charts,)


def _budgets(recordings: Sequence[Described], keys: Sequence[Key], units: Units) -> tuple[Block, ...]:
    """Return the bars of the first key shown that has budgets, of every recording."""
    found = []
    for recorded in recordings:
        header = recorded.result.header
        results = [result for key in keys if (result := recorded.of(key)) is not None and budgets_of(result)]
        if results:
            own, calibrated = marked(units, header), calibration_status(header) == "calibrated"
            whose = "" if len(recordings) == 1 else f"{recorded.name}, "
            found.append(budget_charts(results[0], own, calibrated=calibrated, whose=whose))
    return tuple(found)
