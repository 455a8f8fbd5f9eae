"""What the demo says of its keyboards, and how right that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from keyplumb.difference_check import DifferenceCheck
    from keyplumb.truth_check import TruthCheck
    from processing.display import Units
    from processing.keyboard import KeyboardResult


def tell_keyboard(result: KeyboardResult, truths: Path, units: Units) -> bool:
    """Print what was found of one keyboard and how far it is from the truth; tell whether the right keys were named."""
    from keyplumb.truth_check import check_against
    from processing.calibration_status import marked
    from processing.statistics.keyboard_statistics import describe_keyboard
    from processing.summary import odd_key_sentences, summary

    print(f"\n{result.header.run.instrument}, surveyed through a serial port")
    for sentence in summary(result, describe_keyboard(result), units):
        print(f"  {sentence}")
    print("\nKeys that stand out")
    for name, why in odd_key_sentences(result, units) or [("none", "")]:
        print(f"  {name:4} {why}")
    check = check_against(truths, result)
    _print_check(check, marked(units, result.header))
    return not (check.overlooked or check.wrongly_named)


def tell_comparison(results: list[KeyboardResult], truths: list[Path], units: Units) -> bool:
    """Print what differs between two keyboards; tell whether every planted difference was found and none invented."""
    from keyplumb.commands.compare import print_pair
    from keyplumb.compared import jointly_marked
    from keyplumb.difference_check import check_differences, read_truths
    from processing.comparison.compare import compare_keyboards
    from processing.comparison.margins import read_margins

    names = [result.header.run.instrument for result in results]
    comparison = compare_keyboards(results, names, margins=read_margins())
    pair = comparison.pairs[0]
    print_pair(comparison, pair, jointly_marked(units, comparison))
    check = check_differences(pair, *map(read_truths, truths))
    _print_differences(check)
    return not (check.missed or check.invented)


def _print_differences(check: DifferenceCheck) -> None:
    found = len(check.planted) - len(check.missed)
    print("\nHeld against the truths of both virtual rigs")
    if check.planted:
        print(f"  {found} of {len(check.planted)} planted differences found")
    else:
        print("  planted differences are asked for only if all keys are surveyed")
    for missed in check.missed:
        print(f"  missed: {missed}")
    print(f"  {check.sure} differences called sure, {len(check.invented)} of them not there in truth")
    for invented in check.invented:
        print(f"  invented: {invented}")
    print(f"  {check.inside} of {check.means} true mean differences lie inside the stated 95 % interval")


def _print_check(check: TruthCheck, units: Units) -> None:
    found = len(check.planted) - len(check.overlooked)
    print(f"\nHeld against the truths of the virtual rig: {found} of {len(check.planted)} faulty keys named")
    for key, fault in check.planted.items():
        print(f"  {key:4} {fault.replace('_', ' ')}: {'overlooked' if key in check.overlooked else 'named'}")
    if check.wrongly_named:
        print(f"  named without a fault: {', '.join(check.wrongly_named)}")
    heads = f"{'keys':>5}{'median':>10}{'95 %':>10}{'bias':>10}  {'unit':20}{'in U95':>7}{'missing':>9}{'invented':>10}"
    print(f"\n  {'error of':24}{heads}")
    for row in check.rows:
        shown = [f"{units.value(size, row.unit):10.3f}" for size in (row.median, row.percentile_95, row.bias)]
        unit = units.of(row.unit)
        print(
            f"  {row.name:24}{row.count:5}{''.join(shown)}  {unit:20}{row.covered:7.0%}{row.missing:9}{row.invented:10}"
        )
    within = sum(row.covered * row.count for row in check.rows) / max(1, sum(row.count for row in check.rows))
    print(f"  {within:.0%} of all truths lie inside the stated 95 % interval (the calibration has no part in it yet)")
