"""A limits file: what it means in our units; and every way of being wrong, told with file, line, reason and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from processing.errors import FileIsThere, MalformedLimits
from processing.limits.findings import CANNOT_TELL, DOUBTFUL_FLAGS, FAIL, FINDINGS, HARMLESS
from processing.limits.new_limits import write_new_limits
from processing.limits.reading import read_limits
from processing.limits.types import How, Limits, Line
from recordings.keys import ALL_KEYS, Key, parse_keys

ROOT = Path(__file__).parents[3]
GF = 0.00980665


def limits_in(folder: Path, text: str) -> Limits:
    path = folder / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return read_limits(path)


def test_limits_are_kept_in_our_units_and_bound_to_their_keys(tmp_path: Path) -> None:
    limits = limits_in(
        tmp_path,
        'name = "moss"\nrisk = 0.01\n[[limit]]\nmeasurand = "down_weight"\nunit = "gf"\nupper = 60.0\n'
        'colour = "sharp"\nkeys = "C4..E4"\n'
        '[[limit]]\nmeasurand = "key_dip"\nunit = "in"\nlower = 0.4\nrule = "simple acceptance"\n',
    )

    weight, dip = limits.values
    assert weight.upper == Line(pytest.approx(60.0 * GF), pytest.approx(60.0 * GF))  # type: ignore[arg-type]
    assert (weight.lower, weight.unit) == (None, "N")
    assert weight.keys == {Key.from_name("C#4"), Key.from_name("D#4")}
    assert weight.how == How(rule="guarded acceptance", risk=0.01)
    assert dip.lower is not None
    assert dip.lower.at(Key(7)) == pytest.approx(10.16)
    assert dip.keys == frozenset(ALL_KEYS)
    assert dip.how == How(rule="simple acceptance", risk=0.01)


@given(st.floats(10.0, 90.0), st.floats(10.0, 90.0), st.integers(1, 88))
def test_a_trend_is_straight_in_the_key_number(low: float, high: float, number: int) -> None:
    share = (number - 1) / 87

    assert Line(low, high).at(Key(number)) == pytest.approx((1 - share) * low + share * high)


def test_the_example_is_itself_a_limits_file_and_names_every_table(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    write_new_limits(path)
    limits = read_limits(path)

    assert len(limits.values) == 5
    assert limits.values[0].upper == Line(pytest.approx(66.0 * GF), pytest.approx(58.0 * GF))  # type: ignore[arg-type]
    assert limits.values[2].how == How(rule="guarded rejection", risk=0.01)
    assert limits.values[3].keys == frozenset(parse_keys("C3..C6"))
    assert (len(limits.steps), len(limits.spreads)) == (1, 1)
    assert limits.letoff is not None
    assert limits.stands_out_in == {"trigger_position"}
    assert limits.file_name == "new.toml"
    assert len(limits.sha256) == 64


def test_an_example_is_never_written_over_a_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("precious", encoding="utf-8")

    with pytest.raises(FileIsThere, match="left alone"):
        write_new_limits(path)
    assert path.read_text(encoding="utf-8") == "precious"


HEAD = 'name = "moss"\n'
LIMIT = '[[limit]]\nmeasurand = "down_weight"\nunit = "gf"\n'


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (HEAD + LIMIT + "upper = \n", 5, "no TOML"),
        (HEAD + "[[limit\n", 2, "no TOML"),
        (HEAD + LIMIT.replace("down_weight", "downweight") + "upper = 60.0\n", 3, "perhaps down_weight"),
        (HEAD + LIMIT.replace("down_weight", "zzz") + "upper = 60.0\n", 3, "README.md lists them"),
        (HEAD + LIMIT + "lower = 60.0\nupper = 50.0\n", 5, "lower 60 is not below upper 50 at A0; exchange them"),
        (
            HEAD + LIMIT + "lower = { A0 = 40.0, C8 = 60.0 }\nupper = { A0 = 50.0, C8 = 50.0 }\n",
            5,
            "is not below upper 50 at F4",  # 43.5 of 87 steps from A0, and the next key is number 45
        ),
        (HEAD + LIMIT.replace('"gf"', '"stone"') + "upper = 1.0\n", 4, "'stone' is no unit of force"),
        (
            HEAD + LIMIT.replace('"gf"', '"mm"') + "upper = 1.0\n",
            4,
            "known are N mN gf kgf ozf lbf; write one of these for down_weight",
        ),
        (HEAD + LIMIT + 'upper = 1.0\nkeys = "C9"\n', 6, "'C9' is no key"),
        (HEAD + LIMIT + 'upper = 1.0\nkeys = "A0..Z4"\n', 6, "write C4, A0..C8"),
        (HEAD + LIMIT + 'upper = 1.0\nkeys = "C4"\ncolour = "sharp"\n', 6, "no sharp of C4 is among the expected"),
        (HEAD + '[expected]\nkeys = "C4..C5"\n' + LIMIT + 'upper = 1.0\nkeys = "A0"\n', 8, "widen `expected.keys`"),
        (HEAD + LIMIT, 2, "neither `lower` nor `upper`"),
        (HEAD + LIMIT + "upper = 60.0\nrisk = 0.5\n", 6, "less than 0.5"),
        (HEAD + "risk = 0\n" + LIMIT + "upper = 60.0\n", 2, "greater than 0"),
        (HEAD + 'rule = "be kind"\n' + LIMIT + "upper = 60.0\n", 2, "'simple acceptance'"),
        (
            HEAD + LIMIT + "upper = 60.0\nuper = 50.0\n",
            6,
            "limit 1, uper: there is no such entry; perhaps upper. `keyplumb",
        ),
        (HEAD + "[[steps]]\n", 2, "steps: there is no such entry; perhaps step. `keyplumb"),
        (HEAD + "[lettof]\n", 2, "lettof: there is no such entry; perhaps letoff. `keyplumb"),
        (
            HEAD + LIMIT + "upper = { A0 = 50.0, C7 = 60.0 }\n",
            5,
            "limit 1, upper, C7: there is no such entry; known here are A0, C8. `keyplumb",
        ),
        (HEAD + "[expected]\nkey = 1\n", 3, "expected, key: there is no such entry; perhaps keys. `keyplumb"),
        (HEAD + LIMIT + "upper = nan\n", 5, "finite"),
        (HEAD + LIMIT + "upper = { A0 = 50.0 }\n", 5, "limit 1, upper, C8: is missing"),
        (LIMIT + "upper = 60.0\n", None, "name: is missing"),
        (HEAD, None, "it limits nothing"),
        (HEAD + LIMIT + 'upper = 60.0\n[findings]\nfail = ["grity"]\n', 7, "known are stays_down"),
        (HEAD + LIMIT + 'upper = 60.0\n[expected]\nallowed_flags = ["x"]\n', 7, "known are uncalibrated"),
        (HEAD + '[[step]]\nmeasurand = "friction"\nunit = "gf"\nwithin = -1.0\n', 5, "greater than 0"),
        (HEAD + '[[spread]]\nmeasurand = "fiction"\nunit = "gf"\nupper = 1.0\n', 3, "perhaps friction"),
        (HEAD + '[letoff]\nkeys = "H4"\n', 3, "'H4' is no key"),
        (
            HEAD + LIMIT + "lower = 60.0\n" + LIMIT + "upper = 58.0\n",
            9,
            "limit 2, upper: no down_weight is at least 60 and at most 58 gf, as this and limit 1 (line 2) ask of A0",
        ),
        (HEAD + LIMIT + 'keys = "C8"\nupper = 9.0\n' + LIMIT + "lower = { A0 = 0.0, C8 = 20.0 }\n", 10, "of C8"),
    ],
)
def test_a_wrong_file_is_refused_with_file_line_reason_and_remedy(
    tmp_path: Path, text: str, line: int | None, words: str
) -> None:
    with pytest.raises(MalformedLimits) as refused:
        limits_in(tmp_path, text)

    said, place = str(refused.value), str(tmp_path / "limits.toml")
    assert said.startswith(f"{place}, line {line}:" if line else f"{place}:")
    assert words in said
    assert "`keyplumb inspect --new-limits FILE` writes an example" in said


def test_limits_of_one_measurand_may_narrow_each_other_and_part_by_their_keys(tmp_path: Path) -> None:
    narrower = limits_in(tmp_path, HEAD + LIMIT + "lower = 40.0\nupper = 60.0\n" + LIMIT + "lower = 45.0\n")
    apart = limits_in(
        tmp_path, HEAD + LIMIT + 'colour = "sharp"\nupper = 50.0\n' + LIMIT + 'colour = "natural"\nlower = 50.0\n'
    )

    assert (len(narrower.values), len(apart.values)) == (2, 2)


def test_a_file_that_is_not_there_is_told() -> None:
    with pytest.raises(MalformedLimits, match=r"nowhere.toml: No such file"):
        read_limits(Path("nowhere.toml"))


def test_every_finding_and_flag_of_the_package_is_known_here() -> None:
    """Whoever adds a check or a flag must say what it means for a verdict."""
    sources = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "processing").rglob("*.py"))

    assert set(FAIL).isdisjoint(CANNOT_TELL)
    assert set(HARMLESS).isdisjoint((*FAIL, *CANNOT_TELL))
    assert all(f'"{code}"' in sources for code in (*FINDINGS, *DOUBTFUL_FLAGS))
