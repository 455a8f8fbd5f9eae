"""Profiles of rigs that print lines: the built-in ones load, and every fault is told with file, line and key."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from pint import UnitRegistry

from recordings.units import PINT_NAMES
from rig.errors import MalformedProfile
from rig.profiles.profile import PROFILE_FOLDER, built_in_profiles, load_profile, parse_profile
from rig.profiles.toml_place import line_of_key
from rig.profiles.units import MICRONEWTON_PER, MICROSECOND_PER, NANOMETRE_PER

GOOD = """\
name = "mine"
baud = 9600
separator = ";"
decimal = ","
columns = 4
rate_hz = 100.0
comments = [
    "#",
]

[force]
column = 1
unit = "gf"

[displacement]
column = 2
unit = "mm"
"""


@pytest.mark.parametrize("name", built_in_profiles())
def test_a_built_in_profile_loads_by_name_and_by_path(name: str) -> None:
    assert load_profile(name) == load_profile(str(PROFILE_FOLDER / f"{name}.toml"))
    assert load_profile(name).name == name


def test_a_profile_tells_how_far_lost_lines_can_be_seen() -> None:
    said = [load_profile(name).losses_in_words() for name in ("lines_counter", "lines_csv", "lines_spaces")]

    assert ["counter" in said[0], "time stamp" in said[1], "cannot be seen" in said[2]] == [True] * 3
    assert "cannot be seen" in load_profile("lines_spaces").description


FAULTS = [
    pytest.param('unit = "gf"', 'unit = "g"', "line 13: force.unit: Input should be 'N', 'mN', 'gf'", id="no unit"),
    pytest.param("baud = 9600", 'baud = "fast"', "line 2: baud: Input should be a valid integer", id="no number"),
    pytest.param("baud = 9600", "baud = true", "line 2: baud: Input should be a valid integer", id="no true number"),
    pytest.param("baud = 9600", "boud = 9600", "line 2: boud: a profile has no such key", id="a key misspelt"),
    pytest.param("[force]", "[farce]", "line 11: farce: a profile has no such key", id="a table misspelt"),
    pytest.param("baud = 9600\n", "", "mine.toml: baud: is missing", id="a key missing"),
    pytest.param("column = 2\n", "", "line 15: displacement.column: is missing", id="a key of a table missing"),
    pytest.param("rate_hz = 100.0\n", "", "mine.toml: rate_hz: is missing; without a [time]", id="no rate, no time"),
    pytest.param("rate_hz = 100.0", "rate_hz = 0.0", "line 6: rate_hz: Input should be greater", id="no rate"),
    pytest.param("rate_hz = 100.0", "rate_hz = nan", "line 6: rate_hz: Input should be", id="not a number"),
    pytest.param('separator = ";"', 'separator = ","', "line 3: separator: the decimal comma", id="two commas"),
    pytest.param("column = 2", "column = 1", "line 16: displacement.column: column 1 is the", id="a column twice"),
    pytest.param("column = 2", "column = 5", "line 16: displacement.column: there is no column 5", id="no such column"),
    pytest.param("column = 2", "column = 0", "line 16: displacement.column: Input should be", id="counted from 0"),
    pytest.param('"#"', '"1"', "line 7: comments.0: must be visible ASCII", id="a comment like a number"),
    pytest.param('"#"', '"µ"', "line 7: comments.0: must be visible ASCII", id="a comment beyond ASCII"),
    pytest.param('unit = "mm"', 'unit = "mm"\nzero_counts = 7', "line 18: displacement.zero_counts: ", id="no counts"),
    pytest.param('unit = "mm"', 'unit = "mm"\nsign = 0', "line 18: displacement.sign: Input should", id="no sign"),
    pytest.param(
        'unit = "mm"',
        'unit = "mm"\ntravel_mm = [9.0, 1.0]',
        "line 18: displacement.travel_mm: the upper end comes first",
        id="travel upside down",
    ),
    pytest.param("[force]", "[[force]]", "line 11: force: must be a table", id="a list of tables"),
    pytest.param(
        "[force]", "[counter]\ncolumn = 3\nmodulus = 9\n[force]", "line 13: counter.modulus: Input should", id="modulus"
    ),
    pytest.param("baud = 9600", "baud = ", "Invalid value (at line 2, column 8)", id="no TOML"),
]


@pytest.mark.parametrize(("found", "instead", "told"), FAULTS)
def test_a_fault_is_told_with_file_line_and_key(found: str, instead: str, told: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(found, instead, 1), encoding="utf-8")
    assert path.read_text(encoding="utf-8") != GOOD

    with pytest.raises(MalformedProfile) as refused:
        load_profile(str(path))
    assert told in str(refused.value)
    assert str(refused.value).startswith(str(path))


def test_the_place_of_a_fault_is_there_for_a_program_too() -> None:
    with pytest.raises(MalformedProfile) as refused:
        parse_profile(GOOD.replace("column = 2", "column = 9"), "mine.toml")

    assert (refused.value.line, refused.value.key) == (16, "displacement.column")


def test_the_profile_in_the_readme_is_one() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (text,) = (block for block in re.findall(r"```toml\n(.*?)```", readme, re.DOTALL) if "my_rig" in block)

    assert parse_profile(text, "README.md").name == "my_rig"


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(MalformedProfile, match="lines_counter, lines_csv, lines_spaces"):
        load_profile("lines_of_nobody")


def test_a_file_that_is_no_utf_8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b'name = "\xff"')

    with pytest.raises(MalformedProfile, match="no UTF-8"):
        load_profile(str(path))


@pytest.mark.parametrize(
    ("text", "key", "line"),
    [
        pytest.param("a = 1\n[b]\nc = 2\n", ("b", "c"), 3, id="a table"),
        pytest.param("a = 1\nb = { c = 2 }\n", ("b", "c"), 2, id="an inline table"),
        pytest.param('a = 1\n"b"."c" = 2\n', ("b", "c"), 2, id="quoted and dotted"),
        pytest.param('a = """\n[b]\nc = 1\n"""\n[b]\nc = 2\n', ("b", "c"), 6, id="a text that looks like keys"),
        pytest.param("a = [\n 1,\n 2,\n]\n", ("a", 1), 1, id="a value of several lines: where it begins"),
        pytest.param("a = 1\n[b]\n", ("b", "c"), 2, id="missing: its table"),
        pytest.param("a = 1\n", ("b", "c"), None, id="not even the table"),
    ],
)
def test_a_key_is_found_wherever_toml_lets_it_stand(text: str, key: tuple[str | int, ...], line: int | None) -> None:
    assert line_of_key(text, key) == line


def test_the_exact_factors_are_those_of_the_units_library() -> None:
    """pint's own factors, by the names that imports use."""
    registry: UnitRegistry[float] = UnitRegistry()
    for quantity, table, ours in (
        ("force", MICRONEWTON_PER, "micronewton"),
        ("displacement", NANOMETRE_PER, "nanometer"),
        ("time", MICROSECOND_PER, "microsecond"),
    ):
        assert table.keys() == PINT_NAMES[quantity].keys()
        for unit, factor in table.items():
            of_pint = registry.Quantity(1.0, PINT_NAMES[quantity][unit]).to(ours).magnitude
            assert float(factor) == pytest.approx(of_pint, rel=1e-14)


def test_a_pound_force_is_the_one_of_nist_sp_811() -> None:
    """NIST SP 811 (2008), appendix B.8, quoted from memory: pound-force 4.448 222 N, ounce-force 0.278 013 9 N."""
    assert round(MICRONEWTON_PER["lbf"]) == 4_448_222
    assert round(MICRONEWTON_PER["ozf"] / 10**6, 7) == Decimal("0.2780139")
