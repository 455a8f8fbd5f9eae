"""How a verdict is told: in sentences, as JSON, as a table, as JUnit XML, on one page."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure

from processing.display import Units
from processing.keyboard import KeyboardResult
from processing.limits.judge import judge
from processing.limits.junit import junit_xml
from processing.limits.page import Judged, fill, write_page
from processing.limits.sentences import (
    key_sentence,
    label,
    nameless,
    told_keys,
    told_of_the_unit,
    unit_name,
    unit_sentence,
    wrong_in_words,
)
from processing.limits.strips import verdict_strips
from processing.limits.types import Expected, LetoffLimit, Limits
from processing.limits.verdict import UnitVerdict
from processing.limits.view import decision_table, inspect_view
from processing.report.style import house_style
from recordings.keys import Key
from tests.builders import a_header
from tests.processing.limits.units import a_finding, a_key, a_limit, a_unit, calibrated_header, some_limits

GF, N = Units(), Units("N", "mm")
AT = datetime(2026, 4, 1, 9, 30, tzinfo=UTC)


def a_moss_unit(*keys: object) -> KeyboardResult:
    header = calibrated_header()
    return a_unit(*keys, header=replace(header, run=replace(header.run, serial="moss-001", operator="Ada")))  # type: ignore[arg-type]


BAD = (a_key(40), a_key(41, down_weight=0.549), a_key(42, down_weight=0.6, findings=(a_finding("gritty"),)))


def a_bad_unit() -> tuple[UnitVerdict, KeyboardResult, Limits]:
    unit, limits = a_moss_unit(*BAD), some_limits(keys=(40, 41, 42, 43))
    return judge(unit, limits), unit, limits


def test_a_unit_is_told_in_one_line_with_its_first_reason() -> None:
    verdict, _, _ = a_bad_unit()

    assert unit_sentence(verdict, N) == (
        "moss-001: FAIL: D4: something of 0.020 N; look at it; of 4 keys 1 fails, 2 cannot be told, 1 passes. "
        "Probability of being wrong: under 0.01 %."
    )


def test_keys_that_do_not_pass_are_told_worst_first_and_the_others_are_not() -> None:
    verdict, _, _ = a_bad_unit()
    keys, more = told_keys(verdict)

    assert [key_sentence(key, N).split(":")[:2] for key in keys] == [
        ["D4", " fail"],
        ["D#4", " cannot tell"],
        ["C#4", " cannot tell"],
    ]
    assert more == 0
    assert "too near to 0.550 N to tell (probability of being within its limits: 69 %)" in key_sentence(keys[2], N)


def test_of_many_bad_keys_the_worst_are_told_and_the_others_counted() -> None:
    verdict = judge(a_moss_unit(), some_limits(keys=range(1, 89)))
    keys, more = told_keys(verdict)

    assert (len(keys), more) == (10, 77)
    assert unit_sentence(verdict, GF).endswith("; of 88 keys 87 cannot be told, 1 passes.")


def test_of_a_unit_that_passes_the_nearest_key_is_told() -> None:
    verdict = judge(a_moss_unit(a_key(40), a_key(41, down_weight=0.54)), some_limits(keys=(40, 41)))

    assert [key.key.number for key in told_keys(verdict)[0]] == [41]
    assert unit_sentence(verdict, GF).startswith(
        "moss-001: PASS; of 2 keys 2 pass. Probability of being wrong: under 0.01 %."
    )


def test_keys_that_nobody_judged_are_counted_apart_and_called_neither_passed_nor_failed() -> None:
    """Two of three expected keys have a limit; two more keys were recorded, of which one is gritty."""
    keys = [a_key(40), a_key(42), a_key(44), a_key(45), a_key(46, findings=(a_finding("gritty"),))]
    unit, limits = a_moss_unit(*keys[:4]), some_limits(a_limit(keys=(Key(40), Key(42))), keys=(40, 42, 44))
    verdict = judge(unit, limits)
    told = {key["key"]: key for key in inspect_view(verdict, limits)["keys"]}
    cases = {case.get("name"): case for case in ElementTree.fromstring(junit_xml(verdict, limits, N)).iter("testcase")}

    assert unit_sentence(verdict, N).startswith(
        "moss-001: PASS; of 3 expected keys 2 pass, 1 has no limit and was not judged; "
        "1 more is in the recording and was not judged. Probability"
    )
    assert [(told[name]["outcome"], told[name]["expected"]) for name in ("C4", "E4", "F4")] == [
        ("pass", True),
        ("not judged", True),
        ("not judged", False),
    ]
    assert [[child.tag for child in cases[name]] for name in ("C4", "E4", "F4")] == [[], ["skipped"], ["skipped"]]
    assert [key.key.name for key in verdict.keys] == ["C4", "D4", "E4", "F4"]
    assert judge(a_moss_unit(*keys), limits).outcome == "fail"  # what a check has found is never passed over


def test_all_expected_keys_may_pass_beside_others() -> None:
    unit = a_moss_unit(*(a_key(number) for number in range(40, 46)))
    verdict = judge(unit, some_limits(a_limit(keys=(Key(40), Key(44))), keys=(40, 44)))

    assert "; of 2 expected keys 2 pass; 4 more are in the recording and were not judged. " in unit_sentence(verdict, N)


def test_a_pass_on_scales_that_nobody_checked_says_that_its_probability_leaves_them_out() -> None:
    header = a_header("moss")
    unit = a_unit(a_key(40), header=header)
    limits = some_limits(expected=Expected(keys=(Key(40),), allowed_flags=frozenset({"uncalibrated", "gritty"})))
    verdict, kept = judge(unit, limits), Kept()
    with house_style():
        fill(kept, Judged(verdict, unit, limits, AT), N, "moss")
    words = "Scales are only stated: the limits allow that, and no probability includes how far they are off."

    assert verdict.trusted == ("uncalibrated",)
    assert unit_sentence(verdict, N) == (
        f"moss: PASS; of 1 key 1 passes. Probability of being wrong: under 0.01 %. {words}"
    )
    assert words in " ".join(words_on(kept.pages[0]).split())
    assert inspect_view(verdict, limits)["trusted"] == ["uncalibrated"]
    assert judge(unit, some_limits()).trusted == ()  # what is not allowed is a reason instead


def test_a_unit_that_nobody_named_is_told_so() -> None:
    plain = calibrated_header()
    named = replace(plain.run, serial="moss-001")

    assert nameless(named) is None
    assert nameless(replace(named, serial=None, operator="Ada")) == (
        "no serial number told: nobody can say which unit this verdict is about; record with --serial"
    )
    assert "no serial number and no operator told" in str(nameless(replace(named, serial=None, operator=None)))


def test_a_unit_that_cannot_be_told_shows_no_passing_key_as_its_worst() -> None:
    unit = replace(a_moss_unit(), complete=False)
    verdict = judge(unit, some_limits())

    assert (verdict.outcome, told_keys(verdict)) == ("cannot tell", ((), 0))


def test_what_cannot_be_told_of_the_whole_is_told_beside_a_failing_key() -> None:
    unit = replace(a_moss_unit(a_key(40, down_weight=0.6)), complete=False)
    verdict = judge(unit, some_limits())

    assert verdict.outcome == "fail"
    assert [one.code for one in told_of_the_unit(verdict)] == ["incomplete"]
    assert told_of_the_unit(judge(replace(a_moss_unit(), complete=False), some_limits())) == ()  # told as first reason


def test_a_limit_is_drawn_over_its_own_keys_only() -> None:
    unit = a_moss_unit(*(a_key(number) for number in range(40, 46)))
    limits = some_limits(a_limit(keys=(Key(40), Key(44))), keys=(40, 44))
    charts = verdict_strips(judge(unit, limits), unit, limits, N)

    assert charts is not None
    assert [line.x.tolist() for line in charts.panels[0].lines] == [[39.5, 40.5]] * 2 + [[43.5, 44.5]] * 2


@pytest.mark.parametrize(
    ("outcome", "wrong", "words"),
    [
        ("pass", 0.0123, "Probability of being wrong: at most 1.2 %."),
        ("fail", None, "No probability of being wrong can be stated: it rests on findings alone."),
        ("cannot tell", 0.3, "Probability of being wrong, were it decided: at most 30 %."),
        ("cannot tell", None, ""),
    ],
)
def test_the_probability_of_being_wrong_is_told_as_far_as_it_is_known(
    outcome: str, wrong: float | None, words: str
) -> None:
    assert wrong_in_words(outcome, wrong) == words  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("model", "serial", "name"), [("moss", None, "moss"), ("moss", "moss-001", "moss-001"), ("moss", "17", "moss 17")]
)
def test_a_unit_is_called_by_model_and_serial_number(model: str, serial: str | None, name: str) -> None:
    assert unit_name(replace(a_header(model).run, serial=serial)) == name


def test_the_label_names_unit_person_rig_calibration_and_limits_and_says_what_nobody_told() -> None:
    limits = some_limits(file_name="moss.toml", sha256="ab" * 32)
    told = dict(label(a_moss_unit().header, limits, AT))
    bare = dict(label(a_header("moss"), some_limits()))

    assert told["serial number"] == "moss-001"
    assert told["operator"] == "Ada"
    assert told["rig"] == "a rig 1"
    assert told["calibration record"].endswith(", valid until 2027-01-01")
    assert told["limits"] == "limits of a test (moss.toml)"
    assert told["SHA-256 of the limits"] == "ab" * 32
    assert told["judged"] == "2026-04-01 09:30 UTC"
    assert (bare["serial number"], bare["operator"], bare["calibration record"]) == ("not told", "not told", "none")
    assert bare["calibration"].startswith("Uncalibrated")


def test_the_json_holds_every_decision_and_no_number_that_is_none() -> None:
    verdict, _, limits = a_bad_unit()
    told = json.loads(json.dumps(inspect_view(verdict, limits), allow_nan=False))

    assert (told["schema"], told["outcome"], told["serial"]) == ("keyplumb.inspect/1", "fail", "moss-001")
    assert [key["key"] for key in told["keys"]] == ["D4", "D#4", "C#4", "C4"]
    weight = next(one for one in told["keys"][0]["decisions"] if one["code"] == "down_weight")
    assert (weight["value"], weight["upper"], weight["unit"], weight["outcome"]) == (0.6, 0.55, "N", "fail")
    assert told["keys"][1]["decisions"][0]["conforming"] is None
    assert told["calibration"]["status"] == "calibrated"


def test_the_table_has_a_row_a_decision_from_the_left() -> None:
    verdict, _, _ = a_bad_unit()
    table = decision_table(verdict)

    assert table["key"].tolist() == ["C4", "C#4", "D4", "D4", "D#4"]
    assert table["code"].tolist() == ["down_weight", "down_weight", "finding:gritty", "down_weight", "missing key"]
    assert set(table["serial"]) == {"moss-001"}


def test_in_junit_xml_a_failing_key_is_a_failure_and_a_doubtful_one_an_error() -> None:
    verdict, _, limits = a_bad_unit()
    suites = ElementTree.fromstring(junit_xml(verdict, limits, N))  # our own file
    suite = suites[0]
    cases = {case.get("name"): case for case in suite.iter("testcase")}

    assert (suite.get("name"), suite.get("tests"), suite.get("failures"), suite.get("errors")) == (
        "moss-001",
        "5",
        "1",
        "2",
    )
    assert [child.tag for child in cases["D4"]] == ["failure"]
    assert cases["D4"][0].text == ("fail: something of 0.020 N; look at it\nfail: Down weight 0.600 N is above 0.550 N")
    assert [child.tag for child in cases["D#4"]] == ["error"]
    assert not list(cases["C4"])
    assert not list(cases["the unit"])
    properties = {one.get("name"): one.get("value") for one in suite.iter("property")}
    assert properties["operator"] == "Ada"
    assert properties["outcome"] == "fail"


def test_junit_xml_can_be_read_whatever_a_unit_is_called() -> None:
    verdict, _, limits = a_bad_unit()
    run = replace(verdict.header.run, serial='<&">\x00\x1b moss', operator="\x07")
    odd = replace(verdict, header=replace(verdict.header, run=run))

    assert ElementTree.fromstring(junit_xml(odd, limits, N))[0].get("name") == 'moss <&"> moss'


class Kept:
    """Takes pages and keeps them."""

    def __init__(self) -> None:
        self.pages: list[Figure] = []

    def savefig(self, page: Figure) -> None:
        self.pages.append(page)


def words_on(page: Figure) -> str:
    return "\n".join(text.get_text() for text in page.texts)


@pytest.mark.parametrize(
    ("keys", "sign"),
    [((a_key(40),), "✔ PASS"), (BAD, "✘ FAIL"), ((a_key(40, down_weight=0.549),), "? CANNOT TELL")],
    ids=["pass", "fail", "cannot tell"],
)
def test_the_page_tells_the_verdict_by_word_and_sign(keys: tuple[object, ...], sign: str) -> None:
    unit = a_moss_unit(*keys)
    limits = some_limits(keys=[key.key.number for key in unit.keys])
    kept = Kept()
    with house_style():
        fill(kept, Judged(judge(unit, limits), unit, limits, AT), N, "moss-001")

    assert len(kept.pages) == 1
    assert sign in words_on(kept.pages[0])
    assert "Ada" in words_on(kept.pages[0])


def test_everything_fits_on_one_page_however_much_there_is_to_say() -> None:
    """All 88 keys fail in three numbers, and whoever named things had much to say."""
    names = ("down_weight", "friction", "key_dip")
    keys = [
        a_key(n, down_weight=0.9, friction=0.9, key_dip=20.0, findings=(a_finding("gritty"),)) for n in range(1, 89)
    ]
    unit = a_moss_unit(*keys)
    run = replace(unit.header.run, operator="Ada " * 200, serial="moss-001 " * 100)
    unit = replace(unit, header=replace(unit.header, run=run))
    limits = some_limits(
        *(a_limit(name) for name in names),
        keys=range(1, 89),
        name="limits " * 100,
        file_name="x" * 300,
        sha256="f" * 64,
    )
    kept = Kept()
    with house_style():
        fill(kept, Judged(judge(unit, limits), unit, limits, AT), N, "moss-001 " * 100)

    assert len(kept.pages) == 1
    assert "and 344 more reasons" in words_on(kept.pages[0])  # 88 keys, three numbers and a finding, less eight


def test_the_strips_show_the_measurands_that_decide_with_their_limits() -> None:
    unit = a_moss_unit(a_key(40, friction=0.2), a_key(42, friction=0.9), a_key(44, friction=0.2, down_weight=0.549))
    limits = some_limits(a_limit(), a_limit("friction", lower=None, upper=0.3), keys=(40, 42, 44))
    charts = verdict_strips(judge(unit, limits), unit, limits, N)

    assert charts is not None
    friction, weight = charts.panels
    assert [friction.title, weight.title] == ["Friction", "Down weight"]
    assert friction.lines[0].y.tolist() == [0.3, 0.3]
    assert [line.y[0] for line in weight.lines] == [0.45, 0.55]
    ring = next(dots for dots in friction.dots if dots.look == "odd")
    assert ring.x.tolist() == [42.0]
    assert ring.y[0] < friction.y.high  # far off its strip it stands at the edge, with its value
    assert [note.words for note in friction.notes] == ["D4: 0.900"]
    assert [dots.x.tolist() for dots in weight.dots if dots.look == "doubtful"] == [[44.0]]


def test_a_key_that_fails_in_something_else_is_marked_and_named_in_every_strip() -> None:
    unit = a_moss_unit(a_key(40), a_key(42, letoff="none"), a_key(44))
    limits = some_limits(letoff=LetoffLimit("found", frozenset(Key(n) for n in (40, 42, 44))), keys=(40, 42, 44))
    charts = verdict_strips(judge(unit, limits), unit, limits, N)

    assert charts is not None
    (weight,) = charts.panels
    assert [dots.x.tolist() for dots in weight.dots if dots.look == "odd otherwise"] == [[42.0]]
    assert [note.words for note in weight.notes] == ["D4"]
    assert ("odd otherwise", "fails in something else") in charts.legend


def test_a_foot_that_is_cut_and_a_reason_of_two_lines_are_told_as_such() -> None:
    long_finding = replace(a_finding("gritty"), advice="look at it " * 15 + "to the end")
    unit = a_moss_unit(a_key(40, findings=(long_finding,)))
    limits, kept = some_limits(), Kept()
    with house_style():
        fill(kept, Judged(judge(unit, limits), unit, limits, AT), N, "moss-001, limits " * 20)

    words = words_on(kept.pages[0])
    assert " … · 1" in words
    assert "to the end" in " ".join(words.split())


def test_without_a_known_number_there_is_no_strip() -> None:
    unit, limits = a_moss_unit(), some_limits(a_limit("friction"))

    assert verdict_strips(judge(unit, limits), unit, limits, N) is None


def test_the_same_verdict_makes_the_same_page(tmp_path: Path) -> None:
    verdict, unit, limits = a_bad_unit()
    for name in ("a.pdf", "b.pdf"):
        write_page(Judged(verdict, unit, limits, AT), tmp_path / name, N)

    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


def test_where_nearly_all_keys_cannot_be_told_the_title_says_so_and_no_mark_hides_a_value() -> None:
    unit = a_moss_unit(*(a_key(number, flags=("uncalibrated",)) for number in range(1, 31)))
    limits = some_limits(keys=range(1, 31))
    charts = verdict_strips(judge(unit, limits), unit, limits, N)

    assert charts is not None
    assert charts.panels[0].title == "Down weight, 30 keys cannot be told"
    assert {dots.look for dots in charts.panels[0].dots} == {"natural 0", "sharp 0"}
