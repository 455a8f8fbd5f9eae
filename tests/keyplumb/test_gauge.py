"""`keyplumb gauge`: plans, studies from tables and from recordings, references, check standards; exit codes."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from queue import SimpleQueue
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import keyplumb
from daq.errors import PortNotFound
from keyplumb.__main__ import main
from keyplumb.calibrating.guide import Guide, StoppedByPerson
from keyplumb.gauging.plan import draw_plan, read_plan, write_plan
from keyplumb.gauging.recording import Bench, record_study
from keyplumb.gauging.tolerances import tolerance_in, tolerance_of
from processing.errors import MalformedLimits, MalformedStudy
from processing.gauge.readings import Reading
from processing.gauge.verdict import Tolerance
from processing.limits.types import Limits, Line, ValueLimit
from processing.unit_store.adding import add_unit
from recordings.keys import ALL_KEYS, Key
from recordings.reader import open_recording
from recordings.writer import write_recording
from rig.profiles.profile import load_profile
from tests.builders import Press, SyntheticKey, a_header, a_recording
from tests.daq.rigs import a_rig
from tests.daq.test_by_hand import a_hand_rig
from tests.processing.gauge.truths import FOLDER

AIAG = str(FOLDER / "aiag_grr.csv")
KEYS = (Key.from_name("C4"), Key.from_name("A#4"))


@settings(max_examples=30, deadline=None)
@given(keys=st.integers(2, 88), operators=st.integers(2, 5), trials=st.integers(2, 4), seed=st.integers(0, 99))
def test_every_operator_presses_every_key_once_in_every_trial(
    keys: int, operators: int, trials: int, seed: int
) -> None:
    names = tuple(f"operator {n}" for n in range(operators))
    plan = draw_plan(ALL_KEYS[:keys], names, trials, seed=seed, programme="slow")
    counts = Counter((press.operator, press.key, press.trial) for press in plan.press)

    assert set(counts.values()) == {1}
    assert len(counts) == keys * operators * trials == len({press.file for press in plan.press})
    assert [press.trial for press in plan.press] == sorted(press.trial for press in plan.press)


def test_a_plan_is_drawn_by_its_seed_and_read_as_it_was_written(tmp_path: Path) -> None:
    first, again, other = (draw_plan(ALL_KEYS[:9], ("Ada", 'Ben "B"'), 2, seed=s, programme="slow") for s in (1, 1, 2))
    write_plan(tmp_path / "study", first)

    assert first == again
    assert first.press != other.press
    assert read_plan(tmp_path / "study").told == first


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        pytest.param('key = "C4"', 'key = "H4"', "H4", id="no key"),
        pytest.param("trial = 1", "trial = 0", "trial", id="no trial"),
        pytest.param("seed = 1", "sead = 1", "line 2: sead", id="a misspelt entry"),
        pytest.param('file = "001', 'file = "../001', "file", id="out of the folder"),
        pytest.param("seed = 1", "seed = ", "no TOML", id="no TOML"),
    ],
)
def test_a_plan_that_was_spoiled_is_told_with_its_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    path = write_plan(tmp_path / "study", draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow"))
    path.write_text(path.read_text().replace(old, new, 1))

    with pytest.raises(MalformedStudy, match=told):
        read_plan(tmp_path / "study")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        pytest.param((), 6, "cannot tell", id="three operators are few"),
        pytest.param(("--tolerance", "value=100"), 0, "The rig for these limits: fit", id="a wide tolerance"),
        pytest.param(("--tolerance", "value=4"), 1, "The rig for these limits: unfit", id="a narrow one"),
    ],
)
def test_a_table_is_analysed_and_the_exit_code_is_the_verdict(
    words: tuple[str, ...], code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["gauge", "study", AIAG, *words]) == code
    assert said in capsys.readouterr().out


@pytest.mark.parametrize("ending", [".png", ".pdf", ".svg"])
def test_a_picture_replaces_only_one_of_a_study(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / f"study{ending}"
    words = ["gauge", "study", AIAG, "--tolerance", "value=4", "--picture", str(picture)]
    picture.write_text("notes\n")

    assert main(words) == 3
    assert "left alone; it is nothing that `gauge --picture` drew" in capsys.readouterr().err
    assert picture.read_text() == "notes\n"
    picture.unlink()
    assert [main(words) for _ in range(2)] == [1, 1]  # unfit, but drawn; and drawn again


@pytest.mark.parametrize("ending", [".png", ".pdf"])
def test_a_study_can_be_had_as_data_and_as_a_picture(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / f"study{ending}"
    main(["gauge", "study", AIAG, "--tolerance", "value=4", "--json", "--picture", str(picture)])
    view = json.loads(capsys.readouterr().out)
    (one,) = view["measurands"]

    assert (view["schema"], view["verdict"], one["interaction_pooled"]) == ("keyplumb.gauge/1", "unfit", True)
    assert {row["name"]: round(row["sd"], 6) for row in one["standard_deviations"]}["gauge"] == 0.302372
    assert picture.read_bytes()[:4] in (b"\x89PNG", b"%PDF")


@pytest.mark.parametrize(
    ("words", "code"),
    [
        pytest.param(("study", AIAG, "--tolerance", "weight=3"), 3, id="a tolerance for what is not there"),
        pytest.param(("study", AIAG, "--tolerance", "weight"), 2, id="a tolerance without a width"),
        pytest.param(("study", AIAG, "--tolerance", "down_weight=3mm"), 2, id="a tolerance in a wrong unit"),
        pytest.param(("study", AIAG, "--picture", "study.jpeg"), 3, id="a picture of an unknown kind"),
        pytest.param(("study", "nowhere"), 3, id="no such study"),
        pytest.param(("plan", "study", "--keys", "C4", "--operators", "Ada,Ben"), 2, id="one key"),
        pytest.param(("plan", "study", "--keys", "C4,C5", "--operators", "Ada"), 2, id="one operator"),
        pytest.param(("plan", "study", "--keys", "C4,C5", "--operators", "Ada,Ada"), 2, id="the same twice"),
        pytest.param(("study", ".", "--tolerance", "dwn=6gf"), 2, id="a tolerance for what is no measurand"),
        pytest.param(("stability", "."), 2, id="which key is the kept one"),
        pytest.param(("stability", ".", "--key", "C4"), 3, id="no recording of it"),
    ],
)
def test_wrong_words_and_files_are_refused(
    words: tuple[str, ...],
    code: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        found = main(["gauge", *words])
    except SystemExit as end:
        found = int(str(end.code))

    assert found == code
    assert "Traceback" not in capsys.readouterr().err


def test_widths_are_told_in_units() -> None:
    assert tolerance_of("down_weight=6gf") == ("down_weight", Tolerance(pytest.approx(6 * 0.00980665)))
    assert tolerance_of("key_dip = 250 um".replace(" ", "")) == ("key_dip", Tolerance(0.25))


def a_limit(lower: Line | None, upper: Line | None, keys: tuple[Key, ...]) -> ValueLimit:
    return ValueLimit(measurand="down_weight", unit="N", lower=lower, upper=upper, keys=frozenset(keys))


def test_of_the_limits_of_a_file_the_narrowest_among_the_keys_counts() -> None:
    limits = Limits(name="x", values=(a_limit(Line(0.4, 0.4), Line(0.6, 0.5), ALL_KEYS),))
    readings = [Reading(name, "Ada", "1", 0.45) for name in ("A0", "C8")]
    one_sided = Limits(name="x", values=(a_limit(None, Line(0.6, 0.5), ALL_KEYS),))

    assert tolerance_in(limits, "down_weight", readings) == Tolerance(pytest.approx(0.1))
    assert tolerance_in(one_sided, "down_weight", readings) == Tolerance(pytest.approx(0.1), sides=1)
    assert tolerance_in(limits, "key_dip", readings) is None


def test_of_several_limits_of_a_key_the_strictest_on_each_side_count() -> None:
    low, high, wide = (
        a_limit(Line(0.4, 0.4), None, KEYS),
        a_limit(None, Line(0.5, 0.5), KEYS),
        a_limit(Line(0.1, 0.1), Line(0.9, 0.9), KEYS),
    )
    readings = [Reading("C4", "Ada", "1", 0.45)]

    assert tolerance_in(Limits(name="x", values=(low, high, wide)), "down_weight", readings) == Tolerance(
        pytest.approx(0.1)
    )


def test_limits_that_contradict_each_other_are_no_tolerance() -> None:
    low, high = a_limit(Line(0.6, 0.6), None, KEYS), a_limit(None, Line(0.5, 0.5), KEYS)
    with pytest.raises(MalformedLimits, match=r"wants C4 to have 0\.6 N at least, another 0\.5 N at most"):
        tolerance_in(Limits(name="x", values=(low, high)), "down_weight", [Reading("C4", "Ada", "1", 0.45)])


def test_the_squares_are_told_in_the_square_of_the_readers_unit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Means of the operators are 1 gf apart: twice two keys by two trials make 4 * 2 * 0.5**2 = 2 gf squared."""
    rows = [
        (key, operator, trial, 50 + 20 * place + number + 0.1 * trial, "gf")
        for place, key in enumerate(("C4", "C5"))
        for number, operator in enumerate(("Ada", "Ben"))
        for trial in (1, 2)
    ]
    main(["gauge", "study", a_table(tmp_path, "key,operator,trial,value,unit", rows)])
    said = capsys.readouterr().out
    (row,) = (line.split() for line in said.splitlines() if line.startswith("operator "))

    assert "sum of squares / gf²" in said
    assert row[:4] == ["operator", "1", "2.0000", "2.0000"]


MOSS_LIMITS = """
name = "moss"
[expected]
instrument = "moss"
allowed_flags = ["uncalibrated"]
[[limit]]
measurand = "down_weight"
unit = "gf"
lower = 20
upper = 80
"""


@pytest.mark.parametrize(
    ("model", "code", "said"),
    [
        pytest.param("fern", 6, "the limits are for moss, the study is of fern", id="of another model"),
        pytest.param(None, 0, "nothing says that the study is of it", id="of nobody knows which"),
        pytest.param("moss", 0, "", id="of this model"),
    ],
)
def test_limits_of_another_model_judge_no_rig(
    model: str | None, code: int, said: str, study: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (limits := tmp_path / "moss.toml").write_text(MOSS_LIMITS)
    whole(study)
    folder = tmp_path / "study"
    write_plan(folder, draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow", instrument=model))
    for path in study.glob("*.h5"):
        (folder / path.name).symlink_to(path)

    assert main(["gauge", "study", str(folder), "--limits", str(limits)]) == code
    heard = capsys.readouterr()
    assert said in heard.out + heard.err
    assert (said != "") or "limits are for" not in heard.err


def recorded(
    path: Path, key: Key, *, operator: str | None = None, seed: int = 1, day: int = 0, down: float = 0.5
) -> None:
    header = a_header()
    run = replace(header.run, operator=operator, started_at=datetime(2026, 3, 1, tzinfo=UTC) + timedelta(days=day))
    write_recording(path, replace(header, run=run), [a_recording(SyntheticKey(down=down), Press(seed=seed), name=key)])


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two keys 0.05 N apart, two operators, two trials; the last press is missing."""
    folder = tmp_path_factory.mktemp("gauge") / "study"
    write_plan(folder, draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow"))
    plan = read_plan(folder)
    for seed, press in enumerate(plan.presses[:-1]):
        key = Key.from_name(press.key)
        recorded(plan.path(press), key, operator=press.operator, seed=seed, down=0.5 + 0.05 * (key == KEYS[0]))
    return folder


def whole(study: Path) -> None:
    """Press what is missing of a study."""
    plan = read_plan(study)
    for press in plan.presses:
        if not plan.path(press).exists():
            key = Key.from_name(press.key)
            recorded(plan.path(press), key, operator=press.operator, seed=99, down=0.5 + 0.05 * (key == KEYS[0]))


def test_a_study_is_told_only_when_all_is_pressed(study: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["gauge", "study", str(study), "--tolerance", "down_weight=20gf"]
    plan = read_plan(study)
    last = plan.presses[-1]
    plan.path(last).unlink(missing_ok=True)

    assert main(words) == 6
    assert "7 of 8 presses are recorded" in capsys.readouterr().out

    recorded(plan.path(last), Key.from_name(last.key), operator="somebody else")
    assert main(words) == 3
    assert f"not {last.key} by {last.operator}" in capsys.readouterr().err
    plan.path(last).unlink()

    whole(study)
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "Fit: the gauge takes" in said
    assert "gf uncalibrated" in said  # the builder's rig only states its scales


def test_a_measurand_that_is_missing_somewhere_leaves_its_keys_out(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The builder's rig hears no notes."""
    whole(study)

    assert main(["gauge", "study", str(study), "--measurands", "trigger_position", "--json"]) == 6
    (one,) = json.loads(capsys.readouterr().out)["measurands"]
    assert one["verdict"] == "cannot tell"
    assert {left["part"] for left in one["left_out"]} == {"C4", "A#4"}
    assert one["why_not"].startswith("no key has it (C4: Ada, trial 1: no note events")


def test_a_kept_key_is_watched_over_the_days(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["gauge", "stability", str(tmp_path), "--key", "C4"]
    for day in range(9):
        recorded(tmp_path / f"{day}.h5", KEYS[0], seed=day, day=day)
    recorded(tmp_path / "another key.h5", KEYS[1])

    assert main(words) == 0
    assert "2026-03-09" in capsys.readouterr().out

    recorded(tmp_path / "today.h5", KEYS[0], day=9, down=0.55)
    assert main([*words, "--picture", str(tmp_path / "chart.svg")]) == 1
    assert "mean out" in capsys.readouterr().out.splitlines()[1]
    assert (tmp_path / "chart.svg").stat().st_size > 1000


def test_a_kept_unit_is_watched_from_the_store_of_units(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two measurings a day for nine days; the last day weighs 0.05 N more. Other units are left alone."""
    store = tmp_path / "store"
    store.mkdir()
    for day in range(9):
        for seed, serial in ((2 * day, "kept"), (2 * day + 1, "kept"), *([(0, "another")] if day == 8 else [])):
            path = tmp_path / f"{serial}-{day}-{seed}.h5"
            recorded(path, KEYS[0], seed=seed, day=day, down=0.5 if day < 8 and serial == "kept" else 0.55)
            result = keyplumb.measure(path).result
            add_unit(store, result, model="moss", serial=serial, outcome="pass")
    words = ["gauge", "stability", str(store), "--key", "C4"]

    assert main([*words, "--serial", "kept"]) == 1
    said = capsys.readouterr().out.splitlines()[1]
    assert "2026-03-09" in said
    assert "mean out" in said
    assert "scatter" in said  # two readings a day
    assert main(words) == 3
    assert main([*words, "--serial", "nobody"]) == 3


def a_table(folder: Path, head: str, rows: list[tuple[Any, ...]]) -> str:
    path = folder / "readings.csv"
    path.write_text("\n".join([head, *(",".join(map(str, row)) for row in rows)]) + "\n")
    return str(path)


def test_too_few_days_cannot_tell(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = a_table(tmp_path, "day,value", [(f"day {n}", 1.0 + n % 2) for n in range(5)])

    assert main(["gauge", "stability", table, "--json"]) == 6
    assert json.loads(capsys.readouterr().out)["verdict"] == "cannot tell"


@pytest.mark.parametrize(("allowed", "code"), [((), 1), (("--allowed", "5gf"), 0), (("--allowed", "0.5gf"), 1)])
def test_a_bias_ends_in_an_exit_code(
    allowed: tuple[str, ...], code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two gram-force too much, and a scatter of a tenth."""
    rows = [(x, x + 2.0 + 0.1 * (n - 1), "gf") for x in (20, 50, 100) for n in range(3)]
    table = a_table(tmp_path, "reference,value,unit", rows)

    assert main(["gauge", "bias", table, *allowed, "--picture", str(tmp_path / "bias.png")]) == code
    assert "Bias: 2.00 ±" in capsys.readouterr().out
    assert main(["gauge", "bias", table, "--allowed", "1mm"]) == 3


def test_a_bias_of_one_reference_cannot_be_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gauge", "bias", a_table(tmp_path, "reference,value", [(1, 1), (1, 2), (1, 3)])]) == 6
    assert "3 readings of 1 reference;" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("told", "said"),
    [
        pytest.param("0.5", "it holds forces, --allowed has no unit; say it, as in --allowed 0.5gf", id="no unit"),
        pytest.param("-1gf", "write a number above 0", id="below nothing"),
    ],
)
def test_an_allowed_bias_that_is_no_width_is_told_what_is_wrong(
    told: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = a_table(tmp_path, "reference,value,unit", [(x, x + 0.1 * n, "gf") for x in (20, 50) for n in range(3)])
    try:
        main(["gauge", "bias", table, "--allowed", told])
    except SystemExit:
        assert told == "-1gf"  # argparse's own way out

    assert said in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["study", "rigs"])
def test_a_table_of_names_alone_is_bad_input(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["gauge", kind, a_table(tmp_path, "key,rig,trial,value", [])]) == 3
    assert "holds no reading" in capsys.readouterr().err


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_one_rig_alone_cannot_be_told_to_agree(
    words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = a_table(tmp_path, "key,rig,trial,value", [("C4", "a", trial, 50 + trial) for trial in (1, 2)])

    assert main(["gauge", "rigs", table, *words]) == 6
    assert "1 rig; it needs 2 rigs at least" in capsys.readouterr().out


@pytest.mark.parametrize(("wide", "code"), [(0.0, 0), (40.0, 1)])
def test_rigs_that_scatter_more_than_others_are_named(
    wide: float, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [
        (key, rig, trial, 50 + (trial - 2) * (1 + wide * (rig == "d")) + 0.1 * ord(rig))
        for key in ("C4", "C5")
        for rig in "abcdef"
        for trial in (1, 2, 3)
    ]
    table = a_table(tmp_path, "key,rig,trial,value", rows)

    assert main(["gauge", "rigs", table]) == code
    assert ("d scatters more" in capsys.readouterr().out) == bool(wide)
    main(["gauge", "rigs", table, "--json"])
    assert json.loads(capsys.readouterr().out)["measurands"][0]["rigs"] == list("abcdef")


def test_days_and_runs_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = [
        (key, run, day, 50 + run + 0.1 * day + 0.01 * n)
        for key in ("C4", "C5")
        for run in (1, 2)
        for day in range(3)
        for n in range(4)
    ]
    table = a_table(tmp_path, "key,run,day,value", rows)

    assert main(["gauge", "days", table]) == 0
    assert "2 keys, 2 runs of 3 days, 4 readings a day" in capsys.readouterr().out
    assert main(["gauge", "days", a_table(tmp_path, "key,run,day,value", rows[:-5])]) == 6


def test_a_plan_is_not_written_over_another(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["gauge", "plan", str(tmp_path / "study"), "--keys", "C4,C5", "--operators", "Ada,Ben"]
    assert main(words) == 0
    assert main([*words, "--seed", "2"]) == 3
    said = capsys.readouterr().err
    assert "choose another folder" in said
    assert "--replace" not in said


class AtTheBench:
    """Hears what is asked and types Enter to each question, q to the last one."""

    def __init__(self, questions: int) -> None:
        self.said: list[str] = []
        self._asked: SimpleQueue[str] = SimpleQueue()
        self._left = questions

    def write(self, text: str) -> None:
        self.said.append(text)
        if text.startswith("> "):
            self._asked.put(text)

    def flush(self) -> None:
        """Nothing is held back."""

    def __iter__(self) -> Iterator[str]:
        while self._left:
            self._asked.get()
            self._left -= 1
            yield "\n" if self._left else "q\n"


@pytest.mark.parametrize("profile", [None, "lines_csv"])
def test_nobody_sets_anything_up_for_a_port_that_is_not_there(profile: str | None, tmp_path: Path) -> None:
    write_plan(tmp_path / "study", draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow"))
    bench = AtTheBench(questions=1)
    place = Bench(port=str(tmp_path / "no-port"), profile=None if profile is None else load_profile(profile))
    with pytest.raises(PortNotFound):
        record_study(read_plan(tmp_path / "study"), place, Guide(bench, bench))  # type: ignore[arg-type]

    assert bench.said == []


def test_who_leaves_a_study_is_told_how_it_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    write_plan(tmp_path / "study", draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow"))
    monkeypatch.setattr("sys.stdin", StringIO("q\n"))
    monkeypatch.setattr("keyplumb.commands.survey_talk.stop_on_signals", lambda: None)
    with a_rig() as port:
        code = main(["gauge", "record", str(tmp_path / "study"), "--port", port])
    said = capsys.readouterr()

    assert code == 130
    assert "0 of 8 presses are recorded; the same command goes on" in said.out
    assert "resume" not in said.err


def test_a_study_may_be_pressed_by_hand(tmp_path: Path) -> None:
    """A virtual person follows the rig's lamps and goes on by the foot switch; the operators type Enter before it."""
    write_plan(tmp_path / "study", draw_plan(KEYS, ("Ada", "Ben"), 2, seed=1, programme="slow"))
    plan, bench = read_plan(tmp_path / "study"), AtTheBench(questions=3)
    with a_rig(rig=a_hand_rig()) as port, pytest.raises(StoppedByPerson):
        record_study(plan, Bench(port=port, by_hand=True), Guide(bench, bench))  # type: ignore[arg-type]

    assert "presses slowly" in "".join(bench.said)
    assert plan.done() == plan.presses[:2]
    for press in plan.done():
        with open_recording(plan.path(press)) as recording:
            (key,) = recording.read_keys()
            assert sum(mark.name.endswith(": good") for mark in key.marks) == 3
