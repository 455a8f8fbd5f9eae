"""A comparison as plain data for `--json`, in N, mm, mJ; and as a table for people, in their units."""

from __future__ import annotations

from typing import Any

from processing.comparison.amounts import amount, margin_in_words, mean_beside
from processing.comparison.band_words import band_sentences
from processing.comparison.curves import CurveBand
from processing.comparison.difference_words import PHRASES
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison, Difference, Evenness, PairComparison, PresenceDiffers
from processing.display import Units
from processing.report.key_table import Table
from processing.statistics.correlated import Estimate
from recordings.keys import Key

SCHEMA = "keyplumb.compare/1"
SPOKEN = {phrase.name: phrase.caption for phrase in PHRASES}


def compare_view(comparison: Comparison, units: Units) -> dict[str, Any]:
    """Return a comparison as the JSON contract has it. units: of the sentences alone."""
    return {
        "schema": SCHEMA,
        "keyboards": list(comparison.labels),
        "cautions": list(comparison.cautions),
        "alpha": comparison.settings.alpha,
        "tests": comparison.tests,
        "margins": comparison.margins,
        "pairs": [_pair_view(pair, units) for pair in comparison.pairs],
    }


def _pair_view(pair: PairComparison, units: Units) -> dict[str, Any]:
    return {
        "first": pair.first,
        "second": pair.second,
        "one_calibration_record": pair.one_record,
        "keys": [Key(number).name for number in pair.keys],
        "left_out": [{"key": Key(key.number).name, "stands_out_in": list(key.stands_out_in)} for key in pair.left_out],
        "sentences": pair_sentences(pair, units) + band_sentences(pair, units),
        "differences": [_difference_view(one) for one in pair.differences],
        "evenness": [_evenness_view(one) for one in pair.evenness],
        "presence": [_presence_view(one) for one in pair.presences],
        "curves": [_band_view(band) for band in pair.bands],
    }


def estimate_view(estimate: Estimate) -> dict[str, float]:
    """Return an estimate as plain data."""
    return {"value": estimate.value, "u": estimate.u, "dof": estimate.dof, "U95": estimate.expanded()}


def _difference_view(one: Difference) -> dict[str, Any]:
    return {
        "measurand": one.name,
        "unit": one.unit,
        "colour": one.colour,
        "region": one.region.name,
        "where": one.region.where,
        "keys": one.keys,
        "first": one.first,
        "second": one.second,
        "difference": estimate_view(one.mean.estimate),
        "shared_u": one.mean.shared_u,
        "basis": one.mean.basis,
        "p_family": one.p_family,
        "verdict": one.verdict,
        "margin": one.margin,
        "p_alike": one.p_alike,
        "within_margin": one.within_margin,
        "a_hand_guide": None if one.noticed is None else one.noticed.guess,
    }


def _evenness_view(one: Evenness) -> dict[str, Any]:
    return {
        "measurand": one.name,
        "unit": one.unit,
        "colour": one.colour,
        "first": one.first,
        "second": one.second,
        "ratio": {"value": one.ratio.ratio, "low": one.ratio.low, "high": one.ratio.high},
        "p_family": one.p_family,
        "different": one.different,
    }


def _presence_view(one: PresenceDiffers) -> dict[str, Any]:
    told = one.presence
    return {
        "part": told.name,
        "keys": told.keys,
        "first": told.first,
        "second": told.second,
        "only_first": [Key(number).name for number in told.only_first],
        "only_second": [Key(number).name for number in told.only_second],
        "p_family": one.p_family,
        "different": one.different,
    }


def _band_view(band: CurveBand) -> dict[str, Any]:
    return {
        "colour": band.colour,
        "region": band.region,
        "branch": band.branch,
        "keys": band.keys,
        "factor": band.factor,
        "differs_mm": [list(stretch) for stretch in band.differs_mm],
        "way_mm": band.way_mm.round(4).tolist(),
        "difference_N": band.difference_newton.round(6).tolist(),
        "half_width_N": band.half_width_newton.round(6).tolist(),
    }


def difference_table(pair: PairComparison, units: Units) -> Table:
    """Return a row for each spoken measurand, colour and region: both means, the difference, what to make of it."""
    heads = (
        *("measurand", "colour", "where", "keys", pair.first, pair.second, "difference", "p", "verdict"),
        *("alike within", "a hand"),
    )
    told = [one for name in SPOKEN for one in pair.differences if one.name == name]
    return Table(heads, tuple(_row(one, units) for one in told))


def how_to_read(comparison: Comparison) -> str:
    """Return what must be known of the table: its intervals are of one test alone, its verdicts of all together."""
    share = f"{100.0 * comparison.settings.coverage:g} %"
    return (
        f"± is the {share} interval of that difference alone; p and verdict count all {comparison.tests} tests of this "
        "comparison together, so a difference may be open although its own interval leaves out 0."
    )


def _row(one: Difference, units: Units) -> tuple[str, ...]:
    return (
        SPOKEN[one.name],
        one.colour,
        one.region.short,
        str(one.keys),
        mean_beside(one.first, one.mean.estimate, one.unit, units),
        mean_beside(one.second, one.mean.estimate, one.unit, units),
        amount(one.mean.estimate, one.unit, units, signed=True),
        "<0.001" if one.p_family < 0.001 else f"{one.p_family:.3f}",
        one.verdict,
        _margin(one, units),
        "" if one.noticed is None else one.noticed.guess,
    )


def _margin(one: Difference, units: Units) -> str:
    """Return the margin, and of a sure difference whether it lies within, which its verdict does not say."""
    if one.margin is None:
        return ""
    inside = one.within_margin and one.verdict == "different"
    return f"{margin_in_words(one.margin, one.unit, units)}{': inside' if inside else ''}"
