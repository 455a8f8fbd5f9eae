"""Tables of a keyboard's statistics: trends and evenness, sharps against naturals, keys beyond chance."""

from __future__ import annotations

from collections.abc import Sequence

from processing.calibration_status import marked
from processing.comparison.amounts import two_digits
from processing.display import Units, measured, number, with_unit
from processing.features.table import FEATURES
from processing.report.blocks import Block, Folded, TableBlock
from processing.report.key_table import Table
from processing.report.recorded import Described
from processing.report.tables import whose
from processing.stages import Measurement
from processing.statistics.correlated import Estimate
from processing.statistics.keyboard_statistics import MeasurandStatistics, StandingOut
from processing.statistics.trend import KeyboardTrend
from recordings.keys import Key

TOLD = (
    "down_weight", "up_weight", "balance_weight", "friction", "breakaway", "key_dip", "aftertouch",
    "letoff_peak_position", "letoff_peak_force", "letoff_drop", "letoff_slope", "trigger_position", "trigger_margin",
    "release_height", "reset_height", "sustain_window", "note_latency", "effective_mass", "repetition_limit",
)  # fmt: skip
"""Measurands whose run from bass to treble is told; the others follow from them."""
CAPTIONS = {feature.name: feature.caption for feature in FEATURES}


def trend_tables(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return where each trend is at A0 and C8, how steep it is, and how evenly the keys lie about it."""
    heads = ("", "Keys", "At A0", "At C8", "Per octave", "Unevenness, 95 % interval", "Trend")
    tables = []
    for recorded in recordings:
        own = marked(units, recorded.result.header)
        rows = tuple(
            _trend_row(one.trend, own)
            for name in TOLD
            for one in recorded.statistics.measurands
            if one.name == name and one.trend is not None
        )
        if rows:
            tables.append(TableBlock(whose(recorded, recordings, "Trends from bass to treble"), Table(heads, rows)))
    return tuple(tables)


def _trend_row(trend: KeyboardTrend, units: Units) -> tuple[str, ...]:
    shown = units.of(trend.unit)
    in_brackets = f" ({shown})" if shown != "1" else ""
    low, high = trend.scatter.interval()
    spreads = [two_digits(units.value(value, trend.unit)) for value in (trend.scatter.spread, low, high)]
    return (
        f"{CAPTIONS[trend.name]}{in_brackets}, {trend.colour}s",
        str(len(trend.numbers)),
        _estimate(trend.at_a0, trend.unit, units),
        _estimate(trend.at_c8, trend.unit, units),
        _estimate(trend.per_octave, trend.unit, units),
        f"{spreads[0]} ({spreads[1]} to {spreads[2]})",
        trend.shape,
    )


def _estimate(estimate: Estimate | None, unit: str, units: Units) -> str:
    """Return a number with its 95 % half-width, without the unit."""
    if estimate is None:
        return "-"
    half = estimate.expanded()
    return " ± ".join(number(value, unit, units, expanded=half) for value in (estimate.value, half))


def sharps_tables(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return how much more sharps have than the naturals beside them."""
    tables = []
    for recorded in recordings:
        own = marked(units, recorded.result.header)
        rows = tuple(
            (CAPTIONS[one.name], measured(_as_measurement(one.name, one.unit, one.difference), own))
            for name in TOLD
            for one in recorded.statistics.sharps_differ
            if one.name == name
        )
        if rows:
            title = whose(recorded, recordings, "Sharps less the naturals beside them")
            tables.append(TableBlock(title, Table(("", "Difference, 95 % interval"), rows)))
    return tuple(tables)


def _as_measurement(name: str, unit: str, estimate: Estimate) -> Measurement:
    factor = estimate.expanded() / estimate.u if estimate.u else 1.0
    return Measurement(
        name=name, unit=unit, value=estimate.value, u=estimate.u, dof=estimate.dof, coverage_factor=factor
    )


def beyond_chance(recordings: Sequence[Described], units: Units) -> tuple[Block, ...]:
    """Return the keys that lie further from their neighbours than chance explains, whether or not it matters."""
    heads = ("Key", "Measurand", "Value", "Neighbours suggest", "Deviate", "Chance allows", "Modified z", "Matters")
    tables = []
    for recorded in recordings:
        own, alpha = marked(units, recorded.result.header), recorded.statistics.alpha_of_one
        rows = tuple(_odd_row(odd, one, own) for one in recorded.statistics.measurands for odd in one.standing_out)
        if rows:
            title = f"Generalised extreme studentised deviate at alpha {alpha:.2g} a search"
            tables.append(TableBlock(whose(recorded, recordings, title), Table(heads, rows)))
    if not tables:
        return ()
    on_paper = "Every number in which a key lies further from its neighbours than chance explains is in the HTML file."
    return (Folded("Keys beyond chance", on_paper, tuple(tables)),)


def _odd_row(odd: StandingOut, one: MeasurandStatistics, units: Units) -> tuple[str, ...]:
    return (
        Key(odd.number).name,
        CAPTIONS[one.name],
        *(with_unit(value, one.unit, units) for value in (odd.value, odd.usual)),
        f"{odd.deviate:.1f}",
        f"{odd.critical:.1f}",
        f"{odd.modified_z:+.1f}",
        {True: "yes", False: "no", None: "not said"}[odd.matters],
    )
