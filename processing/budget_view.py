"""A budget as it is shown: a table for people in their units, and plain data for `--json` in ours."""

from __future__ import annotations

from math import floor, log10
from typing import Any

from processing.budget.lines import Budget, Line
from processing.budget.monte_carlo import Comparison, MonteCarlo
from processing.budget.propagation import combine, shares
from processing.display import Units
from processing.report.key_table import Table

SCHEMA = "keyplumb.budget/1"
HEADS = ("source", "kind", "distribution", "input u", "sensitivity", "gives u", "share", "dof")
DIGITS = 3
"""Significant digits of a contribution: one more than an uncertainty is stated with."""


def by_contribution(budget: Budget) -> list[Line]:
    """Return the lines, largest contribution first; equal ones in the order of their names."""
    return sorted(budget.lines, key=lambda line: (-abs(line.contribution), line.name))


def budget_table(budget: Budget, units: Units) -> Table:
    """Return a row a line, largest first, in the reader's units; correlated lines say with which others."""
    part = shares(budget)
    return Table(HEADS, tuple(_row(line, budget, part[line.name], units) for line in by_contribution(budget)))


def _row(line: Line, budget: Budget, share: float, units: Units) -> tuple[str, ...]:
    related = ", ".join(f"{other} {r:+.2f}" for other, r in budget.correlated_with(line.name).items())
    slope = units.value(line.sensitivity, budget.unit) / units.value(1.0, line.unit)
    return (
        line.name + (f" (r with {related})" if related else ""),
        line.kind,
        line.distribution,
        _with_shown(units.value(line.u, line.unit), units.of(line.unit)),
        plain(slope),
        _with_shown(units.value(abs(line.contribution), budget.unit), units.of(budget.unit)),
        f"{100.0 * share:.1f} %",
        f"{line.dof:.0f}",
    )


def _with_shown(value: float, shown: str) -> str:
    return plain(value) + ("" if shown == "1" else f" {shown}")


def plain(value: float) -> str:
    """Return a number with three significant digits and no exponent; under 1e-7 all that matters is that it is small.

    >>> plain(0.0123456), plain(1234.5), plain(0.0)
    ('0.0123', '1234', '0')
    """
    if value == 0.0:
        return "0"
    if abs(value) < 1e-7:
        return "<0.0000001"
    return f"{value:.{max(0, DIGITS - 1 - floor(log10(abs(value))))}f}"


def total_sentences(budget: Budget, coverage: float, units: Units) -> list[str]:
    """Return what the lines add up to: combined u, degrees of freedom, expanded uncertainty with its factor."""
    total, shown = combine(budget), units.of(budget.unit)
    factor = total.coverage_factor(coverage)
    combined = _with_shown(units.value(total.u, budget.unit), shown)
    expanded = _with_shown(units.value(factor * total.u, budget.unit), shown)
    corrected = [
        f"corrected by {_with_shown(units.value(correction.amount, budget.unit), shown)}: {correction.name}"
        for correction in budget.corrections
    ]
    return [
        *corrected,
        f"combined standard uncertainty u = {combined}, {total.dof:.1f} effective degrees of freedom",
        f"expanded at {100.0 * coverage:g} %: U = {factor:.2f} u = {expanded}",
    ]


def monte_carlo_sentences(budget: Budget, found: Comparison, units: Units) -> list[str]:
    """Return what Monte Carlo has shown, and whether it bears out the interval by the law of propagation."""
    low, high, off, tolerance = (
        units.value(value, budget.unit)
        for value in (*found.monte_carlo.symmetric, max(found.low_off, found.high_off), found.tolerance)
    )
    decimals = max(0, -floor(log10(tolerance))) if tolerance > 0.0 else 3
    shown = units.of(budget.unit).replace("1", "")
    u = found.monte_carlo.u
    spread = "no standard deviation (a t of 2 degrees of freedom or fewer)"
    if u is not None:
        spread = f"u = {plain(units.value(u, budget.unit))} {shown}".rstrip()
    words = {
        "agree": "the two agree",
        "differ": "the two differ; JCGM 101 then takes the interval of Monte Carlo",
        "open": "too few trials to tell whether the two agree",
    }
    return [
        f"Monte Carlo, {found.monte_carlo.trials} trials: {spread}, "
        f"interval {low:.{decimals}f} to {high:.{decimals}f} {shown}".rstrip(),
        f"JCGM 101, 8.1: ends differ by up to {off:.{decimals}f} {shown}".rstrip()
        + f", tolerance {tolerance:.{decimals}f} {shown}".rstrip()
        + f": {words[found.agreement]}",
    ]


def budget_view(budget: Budget, coverage: float, found: Comparison | None) -> dict[str, Any]:
    """Return a budget as plain data, in N, mm, mJ, s; lines largest first."""
    total, part = combine(budget), shares(budget)
    factor = total.coverage_factor(coverage)
    return {
        "measurand": budget.measurand,
        "unit": budget.unit,
        "value": budget.value,
        "corrections": {correction.name: correction.amount for correction in budget.corrections},
        "u": total.u,
        "dof": total.dof,
        "k": factor,
        "U95": factor * total.u,
        "lines": [_line_view(line, budget, part[line.name]) for line in by_contribution(budget)],
        "monte_carlo": None if found is None else _comparison_view(found),
    }


def _line_view(line: Line, budget: Budget, share: float) -> dict[str, Any]:
    return {
        "source": line.name,
        "kind": line.kind,
        "distribution": line.distribution,
        "u": line.u,
        "unit": line.unit,
        "sensitivity": line.sensitivity,
        "contribution": line.contribution,
        "share": share,
        "dof": line.dof,
        "correlated_with": dict(budget.correlated_with(line.name)),
    }


def _comparison_view(found: Comparison) -> dict[str, Any]:
    shown: MonteCarlo = found.monte_carlo
    return {
        "trials": shown.trials,
        "settled": shown.settled,
        "mean": shown.mean,
        "u": shown.u,
        "interval95": list(shown.symmetric),
        "shortest95": list(shown.shortest),
        "gum_interval95": list(found.gum),
        "tolerance": found.tolerance,
        "low_off": found.low_off,
        "high_off": found.high_off,
        "verdict": found.agreement,
    }
