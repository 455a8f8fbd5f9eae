"""Gauge studies in a terminal: tables and sentences on stdout."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from keyplumb.exit_codes import CANNOT_TELL, DONE, FAILED
from processing.display import Units
from processing.gauge.bias_linearity import BiasStudy
from processing.gauge.crossed import GaugeStudy
from processing.gauge.interlaboratory import Interlaboratory
from processing.gauge.verdict import GaugeVerdict, worst_of
from processing.gauge.view import SCHEMA
from processing.gauge.words import plain, study_sentences

CODES = {"fit": DONE, "fit with caution": DONE, "unfit": FAILED, "cannot tell": CANNOT_TELL}
WIDEST = 200
ABBREVIATIONS = {
    "repeatability": "EV",
    "reproducibility": "AV",
    "interaction": "INT",
    "gauge": "GRR",
    "part": "PV",
    "total": "TV",
}


def print_study(verdicts: Sequence[GaugeVerdict], units: Units) -> None:
    """Print every measurand's verdict and tables, then the rig's verdict as a whole."""
    if len({(verdict.study, verdict.why_not) for verdict in verdicts}) == 1 and verdicts[0].why_not:
        print(f"Cannot tell: {verdicts[0].why_not}.")
        return
    for verdict in verdicts:
        print(f"\n{verdict.measurand}")
        for sentence in study_sentences(verdict, units):
            print(f"  {sentence}")
        if verdict.study is not None:
            _print_parts(verdict.study, verdict.unit, units)
            _print_anova(verdict.study, verdict.unit, units)
    print(f"\nThe rig for these limits: {worst_of(verdicts)}.")


def print_sentences(verdict: str, sentences: Iterable[str]) -> None:
    """Print a verdict and its sentences."""
    print(f"Verdict: {verdict}.")
    for sentence in sentences:
        print(f"  {sentence}")


def print_json(told: Mapping[str, Any]) -> None:
    """Print plain data."""
    print(json.dumps(told, indent=1, allow_nan=False))


def cannot_tell(kind: str, why: str, *, as_json: bool) -> int:
    """Say that there is too little to judge by, and return the exit code for it."""
    if as_json:
        print_json(too_little(kind, why))
    else:
        print(f"Cannot tell: {why}.")
    return CANNOT_TELL


def too_little(kind: str, why: str, **about: str) -> dict[str, Any]:
    """Return, as plain data, that there is too little to judge by."""
    return {"schema": SCHEMA, "kind": kind, **about, "verdict": "cannot tell", "why_not": why}


def print_bias(study: BiasStudy, unit: str, units: Units) -> None:
    """Print the bias at every reference."""
    name, scale = units.of(unit), units.value(1.0, unit)
    rows = [
        (
            f"{scale * at.reference:.5g}",
            str(at.readings),
            f"{plain(scale * at.bias.value)} ± {plain(scale * at.bias.half_width)}",
            plain(scale * at.fitted),
            f"{at.bias.p:.2g}",
        )
        for at in study.at
    ]
    _print_table((f"reference / {name}", "readings", f"bias / {name}", "line", "p"), rows)


def print_rigs(found: Interlaboratory, measurand: str, unit: str, units: Units) -> None:
    """Print precision and consistency, a row a key."""
    name, scale = units.of(unit), units.value(1.0, unit)
    print(
        f"\n{measurand} / {name}; beyond |h| = {found.h_critical:.2f} or k = {found.k_critical:.2f} a rig is marked *"
    )
    rows = []
    for level in found.levels:
        numbers = (level.mean, level.repeatability, level.reproducibility, level.r, level.R)
        marked = (
            f"{h:.2f}{'*' * (abs(h) > found.h_critical)} / {k:.2f}{'*' * (k > found.k_critical)}"
            for h, k in zip(level.h, level.k, strict=True)
        )
        rows.append((level.part, *(plain(scale * number, 4) for number in numbers), *marked))
    _print_table(("key", "mean", "sr", "sR", "r", "R", *(f"h / k of {rig}" for rig in found.rigs)), rows)


def _print_parts(study: GaugeStudy, unit: str, units: Units) -> None:
    scale = units.value(1.0, unit)
    rows = [
        (
            f"{ABBREVIATIONS[part.name]} {part.name}",
            plain(scale * part.sd),
            f"{plain(scale * part.lower)} to {plain(scale * part.upper)}",
            f"{study.percent_of_total(part.name):.1f}",
        )
        if part.name != "interaction" or not study.pooled
        else ("INT interaction", "in EV", "", "")
        for part in study.parts
    ]
    _print_table(
        (
            "",
            f"sd{'' if unit == '1' else f' / {units.of(unit)}'}",
            f"{100 * study.settings.coverage:g} % interval",
            "% of TV",
        ),
        rows,
    )


def _print_anova(study: GaugeStudy, unit: str, units: Units) -> None:
    """Print the analysis of variance, whose squares are in the square of the reader's unit."""
    scale, squared = units.value(1.0, unit) ** 2, _squared(units.of(unit))
    rows = [
        (
            row.name,
            str(row.dof),
            plain(scale * row.sum_of_squares, 5),
            plain(scale * row.mean_square, 5),
            "" if row.f is None else f"{row.f:.4g}",
            "" if row.p is None else f"{row.p:.2g}",
        )
        for row in study.anova
    ]
    _print_table(("", "dof", f"sum of squares{squared}", f"mean square{squared}", "F", "p"), rows)


def _squared(unit: str) -> str:
    """Return the square of a unit for the head of a column; nothing for a number without a unit."""
    if unit == "1":
        return ""
    return f" / {unit if unit.isalpha() else f'({unit})'}²"


def _print_table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1))
    for place, head in enumerate(heads):
        table.add_column(head, no_wrap=True, justify="left" if place == 0 else "right")
    for row in rows:
        table.add_row(*row)
    Console(width=WIDEST, highlight=False).print(table)
