"""Numbers as people read them."""

from __future__ import annotations

import pytest

from processing.display import CHOICES, Units, UnknownUnits, in_words, measured, number, parse_units, rounded
from processing.stages import Measurement

GF, INCH = parse_units("gf,mm"), parse_units("gf,in")


def a_weight(value: float, u: float) -> Measurement:
    return Measurement(name="down_weight", unit="N", value=value, u=u, dof=10.0, coverage_factor=2.0)


@pytest.mark.parametrize(
    ("value", "unit", "units", "shown"),
    [
        pytest.param(0.5099458, "N", GF, "52.0", id="52 gf by standard gravity"),
        pytest.param(11.1125, "mm", INCH, "0.438", id="7/16 in is 11.1125 mm"),
        pytest.param(0.38608858, "N/mm", INCH, "1000.0", id="gf per inch"),
        pytest.param(0.52, "N", Units("N", "mm"), "0.520", id="newton stay newton"),
        pytest.param(0.0005, "N", GF, "0.05", id="a small number keeps a digit"),
    ],
)
def test_a_number_is_shown_in_the_reader_s_unit(value: float, unit: str, units: Units, shown: str) -> None:
    assert number(value, unit, units) == shown


@pytest.mark.parametrize(
    ("u", "shown"), [(0.00005, "52.000 ± 0.010 gf"), (0.0005, "52.00 ± 0.10 gf"), (0.005, "52.0 ± 1.0 gf")]
)
def test_decimals_follow_the_uncertainty(u: float, shown: str) -> None:
    assert measured(a_weight(0.5099458, u), GF) == shown


@pytest.mark.parametrize(("u", "shown"), [(0.00005, "52.0"), (0.005, "52.0"), (0.05, "52")])
def test_a_table_has_no_more_decimals_than_usual_and_fewer_where_less_is_known(u: float, shown: str) -> None:
    assert rounded(a_weight(0.5099458, u), GF) == shown


def test_what_is_missing_is_a_dash() -> None:
    assert measured(Measurement(name="x", unit="N", value=None, reason="because"), GF) == "-"


def test_words_carry_their_numbers_in_the_reader_s_units() -> None:
    assert in_words("{} at {}", ((0.5099458, "N"), (25.4, "mm")), INCH) == "52.0 gf at 1.000 in"


def test_unknown_units_name_the_choices() -> None:
    with pytest.raises(UnknownUnits, match="gf,mm or N,mm or gf,in"):
        parse_units("kg,m")
    assert [parse_units(choice) for choice in CHOICES] == [Units("gf", "mm"), Units("N", "mm"), Units("gf", "in")]
