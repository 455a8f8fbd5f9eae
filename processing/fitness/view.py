"""A rig's fitness in words and as plain data: what `--json` prints, what tables show. JSON is in N, mm, s, always."""

from __future__ import annotations

from dataclasses import asdict, replace
from math import floor, log10
from typing import Any

from processing.display import Units
from processing.fitness.judgement import Fitness, ItemResult, Judgement

SCHEMA = "keyplumb.check/1"
SI = Units("N", "mm")
MARK = "uncalibrated"
"""A check rests on the scales that the rig states, and each force says so; its limits are round numbers anyway."""
DIGITS = 3


def fitness_view(fitness: Fitness) -> dict[str, Any]:
    """Return the verdict and all items as the JSON contract has them."""
    return {
        "schema": SCHEMA,
        "started_at": fitness.started_at.isoformat(),
        "rig": asdict(fitness.rig),
        "calibration": asdict(fitness.calibration),
        "verdict": fitness.overall,
        "sentence": sentence(fitness),
        "items": [_item_view(result) for result in fitness.items],
        "settings": asdict(fitness.settings),
    }


def _item_view(result: ItemResult) -> dict[str, Any]:
    item, judgement = result.item, result.judgement
    return {
        "name": item.name,
        "caption": item.caption,
        "essential": item.essential,
        "verdict": judgement.verdict,
        "values": [asdict(value) for value in judgement.values],
        "poor_beyond": judgement.poor_beyond,
        "unfit_beyond": judgement.unfit_beyond,
        "text": words(judgement, marked_as_stated(SI)),
        "advice": judgement.advice or None,
    }


def marked_as_stated(units: Units) -> Units:
    """Return the reader's units with the mark of a scale that is only stated."""
    return replace(units, force_mark=MARK)


def sentence(fitness: Fitness) -> str:
    """Return the verdict in one sentence that names what decides it."""
    unfit, poor, untried = (fitness.with_verdict(verdict) for verdict in ("unfit", "poor", "not tried"))
    if fitness.overall == "unfit":
        return f"The rig is NOT FIT for a survey: {_named(unfit)}."
    if fitness.overall == "cannot tell":
        essential = tuple(result for result in untried if result.item.essential)
        return f"Cannot tell whether the rig is fit; not tried: {_named(essential)}."
    return f"The rig is fit for a survey{f', though poor in: {_named(poor)}' if poor else ''}."


def _named(results: tuple[ItemResult, ...]) -> str:
    return ", ".join(result.item.caption.lower() for result in results)


def words(judgement: Judgement, units: Units) -> str:
    """Return what an item shows, with its numbers in the reader's units."""
    return judgement.template.format(*(_with_unit(value, unit, units) for value, unit in judgement.numbers))


def limit_in_words(judgement: Judgement, units: Units) -> str:
    """Return up to where the first value is fit and to where it is only poor, as in "0.5 / 1 gf"; empty: no number."""
    if not judgement.values or judgement.unfit_beyond is None:
        return ""
    unit = judgement.values[0].unit
    limits = [limit for limit in (judgement.poor_beyond, judgement.unfit_beyond) if limit is not None]
    return " / ".join(significant(units.value(limit, unit), 2) for limit in limits) + _unit(unit, units)


def _with_unit(value: float, unit: str, units: Units) -> str:
    return significant(units.value(value, unit)) + _unit(unit, units)


def _unit(unit: str, units: Units) -> str:
    return "" if unit == "1" else f" {units.of(unit).replace('sqrt(Hz)', '√Hz')}"


def significant(value: float, digits: int = DIGITS) -> str:
    """Return a number with some significant digits, without an exponent.

    >>> [significant(value) for value in (0.0012345, 12.345, 12345.0, 0.0, -0.5)]
    ['0.00123', '12.3', '12345', '0', '-0.5']
    """
    if value == 0.0 or abs(value) < 1e-9:
        return "0"
    decimals = max(0, digits - 1 - floor(log10(abs(value))))
    shown = f"{value:.{decimals}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown
