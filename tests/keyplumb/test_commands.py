"""The command line: help without a wait, data on stdout, talk on stderr, one sentence and an exit code for trouble."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from keyplumb.__main__ import COMMANDS, build_parser, main
from keyplumb.commands.arguments import about_the_run
from processing.calibrate import recalibrated
from processing.features.table import FEATURES
from recordings.calibration_file import record_as_dict, write_calibration
from recordings.calibration_record import CalibrationRecord, ForceCalibration, RigIdentity
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import WHOLE_RECORD, Press, SyntheticKey, a_header, a_polynomial, a_recording, pressed

NAMES = [command.NAME for command in COMMANDS]


def run(*words: object) -> int:
    """Run a command in this process; wrong use ends in argparse's own exit."""
    try:
        return main([str(word) for word in words])
    except SystemExit as left:
        return int(left.code or 0)


def a_table(path: Path, **changes: float) -> Path:
    rows = zip(*pressed(SyntheticKey(), Press(**changes)), strict=True)  # type: ignore[arg-type]
    path.write_text("time_s,displacement_mm,force_N\n" + "".join(f"{t:.6f},{x:.6f},{f:.6f}\n" for t, x, f in rows))
    return path


def a_file(path: Path, keys: int = 1, *, day: int = 0) -> Path:
    header = a_header("bench test")
    run = replace(header.run, started_at=header.run.started_at + timedelta(days=day))
    write_recording(path, replace(header, run=run), [a_recording(name=Key(40 + n)) for n in range(keys)])
    return path


@pytest.mark.parametrize("name", ["", *NAMES])
def test_help_shows_an_example_and_loads_nothing_heavy(name: str) -> None:
    """Speed is not asserted in tests; that numpy and its kin stay out is what makes help fast."""
    words = [name, "--help"] if name else ["--help"]
    script = (
        "import sys; from keyplumb.__main__ import main\n"
        f"try: main({words!r})\n"
        "except SystemExit: pass\n"
        "print('heavy:', sorted({'numpy', 'pandas', 'matplotlib', 'h5py', 'scipy', 'pydantic'} & set(sys.modules)))"
    )
    said = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout

    assert f"example: keyplumb {name}".strip() in said
    assert said.endswith("heavy: []\n")


@pytest.mark.parametrize("name", NAMES)
def test_a_command_has_few_words_in_each_group_of_its_help(name: str) -> None:
    """A reader takes in a group at a time; what goes together stands under one head."""
    said = subprocess.run(
        [sys.executable, "-m", "keyplumb", name, "--help"], capture_output=True, text=True, check=True
    ).stdout
    _, *groups = re.split(r"^\S.*:$", said, flags=re.MULTILINE)
    options = [set(re.findall(r"^  (?:-h, )?(--[a-z-]+)", group, re.MULTILINE)) for group in groups]

    assert len(options) >= 1
    assert "--help" in set().union(*options)
    assert all(len(group - {"--help"}) <= 9 for group in options)


def test_import_then_measure_obeys_the_contract(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    events = tmp_path / "e.csv"
    events.write_text("time_s,event,velocity\n2.3,note_on,64\n3.8,note_off,\n")
    table, out = a_table(tmp_path / "x.csv"), tmp_path / "r.h5"

    assert run("import", table, "--events", events, "--key", "C4", "--out", out) == 0
    assert run("measure", out, "--json") == 0
    view = json.loads(capsys.readouterr().out)
    (key,) = view["keys"]

    assert view["schema"] == "keyplumb.measure/1"
    assert view["instrument"] == "x"
    assert view["settings"]["feature"]["bed_newton"] == 3.0
    assert (key["key"], key["number"], key["colour"], key["strokes"]) == ("C4", 40, "natural", 3)
    assert key["letoff"] == "found"
    assert isinstance(key["findings"], list)
    assert list(key["features"]) == [feature.name for feature in FEATURES]
    down = key["features"]["down_weight"]
    assert {"value", "unit", "u", "dof", "U95", "flags"} <= down.keys()
    assert down["value"] == pytest.approx(SyntheticKey().down, abs=0.001)
    assert down["unit"] == "N"
    missing = key["features"]["reset_height"]
    assert missing["value"] is None
    assert missing["reason"]


def test_csv_has_a_row_per_key_and_measurand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", a_file(tmp_path / "r.h5", keys=2), "--csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))

    assert len(rows) == 2 * len(FEATURES)
    assert float(rows[0]["value"]) == pytest.approx(SyntheticKey().key_dip, abs=0.01)


@pytest.mark.parametrize(("units", "shown"), [("gf,mm", "gf"), ("N,mm", " N"), ("gf,in", " in")])
def test_people_choose_their_units(units: str, shown: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", a_file(tmp_path / "r.h5"), "--units", units) == 0

    assert shown in capsys.readouterr().out


def test_one_key_is_told_in_full_and_many_in_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = a_file(tmp_path / "r.h5", keys=3)

    assert run("measure", path, "--keys", "C4") == 0
    assert "Aftertouch" in capsys.readouterr().out
    assert run("measure", path) == 0
    assert "D4" in capsys.readouterr().out


def test_a_budget_is_told_as_a_table_in_the_readers_units(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", a_file(tmp_path / "r.h5"), "--budget", "C4:down_weight") == 0
    said = capsys.readouterr().out

    for words in ("C4, Down weight", "repeatability of strokes", "zero of the cell", " gf", " %", "expanded at 95 %"):
        assert words in said
    assert "Uncalibrated" in said
    assert "Monte Carlo" not in said


def test_a_budget_as_data_adds_up_to_the_number_that_measure_gives(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = a_file(tmp_path / "r.h5")
    assert run("measure", path, "--json") == 0
    measured = json.loads(capsys.readouterr().out)["keys"][0]["features"]["down_weight"]
    assert run("measure", path, "--budget", "C4:down_weight", "--monte-carlo", "20000", "--json") == 0
    budget = json.loads(capsys.readouterr().out)

    assert (budget["schema"], budget["key"], budget["calibrated"]) == ("keyplumb.budget/1", "C4", False)
    assert {name: budget[name] for name in ("value", "unit", "u", "dof", "k", "U95", "flags")} == measured
    assert sum(line["contribution"] ** 2 for line in budget["lines"]) == pytest.approx(measured["u"] ** 2)
    assert sum(line["share"] for line in budget["lines"]) == pytest.approx(1.0)
    sizes = [abs(line["contribution"]) for line in budget["lines"]]
    assert sizes == sorted(sizes, reverse=True)
    assert budget["monte_carlo"]["trials"] == 20_000
    assert budget["monte_carlo"]["verdict"] in ("agree", "differ", "open")
    low, high = budget["monte_carlo"]["interval95"]
    assert low < measured["value"] < high


def test_monte_carlo_says_whether_it_agrees(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", a_file(tmp_path / "r.h5"), "--budget", "C4:key_dip", "--monte-carlo", "200000") == 0
    said = capsys.readouterr().out

    assert "JCGM 101, 8.1" in said
    assert any(verdict in said for verdict in ("the two agree", "the two differ", "too few trials"))


def test_an_uncalibrated_recording_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("measure", a_file(tmp_path / "r.h5"))

    assert "Uncalibrated" in capsys.readouterr().out


def test_info_tells_what_is_in_a_recording(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = a_file(tmp_path / "r.h5", keys=2)

    assert run("info", path) == 0
    assert "bench test" in capsys.readouterr().out
    assert run("info", path, "--json") == 0
    assert [key["key"] for key in json.loads(capsys.readouterr().out)["keys"]] == ["C4", "C#4"]


def test_the_serial_number_of_a_unit_is_kept_and_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "r.h5"
    run("import", a_table(tmp_path / "t.csv"), "--key", "C4", "--out", path, "--serial", "moss-001")
    run("info", path)
    assert "serial number: moss-001" in capsys.readouterr().out
    run("measure", path, "--json")

    assert json.loads(capsys.readouterr().out)["serial"] == "moss-001"


def test_a_survey_is_told_the_serial_number_of_its_unit() -> None:
    words = ["survey", "--port", "x", "--out", "u.h5", "--instrument", "moss", "--serial", "moss-001"]
    about = about_the_run(build_parser().parse_args(words), "slow")

    assert (about.instrument, about.serial) == ("moss", "moss-001")


def a_calibrated_file(path: Path, record: CalibrationRecord = WHOLE_RECORD) -> Path:
    write_recording(path, recalibrated(a_header("bench test"), record), [a_recording()])
    return path


def test_info_tells_of_the_record_in_a_recording_and_of_the_record_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_calibration(tmp_path / "c.json", WHOLE_RECORD)
    run("info", a_calibrated_file(tmp_path / "r.h5"))
    of_recording = capsys.readouterr().out
    run("info", tmp_path / "r.h5", "--json")
    as_json = json.loads(capsys.readouterr().out)
    run("info", tmp_path / "c.json")
    of_record = capsys.readouterr().out
    run("info", tmp_path / "c.json", "--json")

    assert "calibration: Calibrated: record" in of_recording
    assert all(f"  {line}" in of_recording for line in of_record.splitlines())
    assert "calibrated from -20 to 20 N" in of_record
    assert as_json["calibration"]["record"] == json.loads(capsys.readouterr().out) == record_as_dict(WHOLE_RECORD)
    assert as_json["calibration_status"]["status"] == "calibrated"


def test_a_record_without_a_part_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_calibration(tmp_path / "c.json", replace(WHOLE_RECORD, force=None, skew=None))
    run("info", tmp_path / "c.json")

    assert "not calibrated: force, skew" in capsys.readouterr().out


def test_a_later_record_gives_every_number_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    force = ForceCalibration(polynomial=a_polynomial(0.0, 1.01e-6))
    write_calibration(tmp_path / "c.json", replace(WHOLE_RECORD, force=force))
    path, features = a_file(tmp_path / "r.h5"), []
    for words in ([], ["--calibration", tmp_path / "c.json"]):
        assert run("measure", path, "--json", *words) == 0
        view = json.loads(capsys.readouterr().out)
        features.append(view["keys"][0]["features"])

    assert view["calibrated"]
    assert features[1]["down_weight"]["value"] == pytest.approx(1.01 * features[0]["down_weight"]["value"], rel=1e-4)
    assert (features[0]["down_weight"]["flags"], features[1]["down_weight"]["flags"]) == (["uncalibrated"], [])
    assert run("report", path, "--out", tmp_path / "later", "--calibration", tmp_path / "c.json") == 0
    assert "uncalibrated" not in (tmp_path / "later.html").read_text().lower()


@pytest.mark.parametrize(
    ("record", "mark"),
    [
        pytest.param(replace(WHOLE_RECORD, valid_until=datetime(2026, 2, 1, tzinfo=UTC)), "expired", id="expired"),
        pytest.param(replace(WHOLE_RECORD, rig=RigIdentity(model="b", serial_number="2")), "foreign", id="foreign"),
        pytest.param(replace(WHOLE_RECORD, force=None), "uncalibrated", id="missing"),
    ],
)
def test_one_key_many_keys_and_the_report_all_carry_the_mark(
    record: CalibrationRecord, mark: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = a_calibrated_file(tmp_path / "r.h5", record)
    run("measure", path, "--units", "N,mm")
    for line in capsys.readouterr().out.splitlines()[1:]:
        if " N" in line or " mJ" in line:
            assert mark in line
    run("report", path)
    assert mark in (tmp_path / "r.html").read_text()


def test_a_record_that_cannot_be_read_is_refused_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "c.json").write_text(json.dumps({**record_as_dict(WHOLE_RECORD), "operator": 7}))

    assert run("measure", a_file(tmp_path / "r.h5"), "--calibration", tmp_path / "c.json") == 3
    assert "c.json, operator:" in capsys.readouterr().err


def test_report_writes_both_files_with_what_makes_them_again(tmp_path: Path) -> None:
    path = a_file(tmp_path / "r.h5", keys=8)

    assert run("report", path, "--curves", "C4", "--units", "N,mm") == 0
    page = (tmp_path / "r.html").read_text()
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")
    assert "bench test" in page
    assert "keyplumb report r.h5 --units N,mm --curves C4" in page
    assert hashlib.sha256(path.read_bytes()).hexdigest() in page


def test_report_lays_two_recordings_side_by_side_under_both_their_names(tmp_path: Path) -> None:
    paths = [a_file(tmp_path / name, keys=8, day=day) for day, name in enumerate(("before.h5", "after.h5"))]

    assert run("report", *paths) == 0
    assert "before" in (page := (tmp_path / "before-after.html").read_text())
    assert "bench test (after)" in page
    assert (tmp_path / "before-after.pdf").exists()


def test_a_report_of_a_recording_without_a_press_says_so(tmp_path: Path) -> None:
    still = a_recording(how=Press(strokes=0, rest_s=2.0))
    write_recording(tmp_path / "r.h5", a_header(), [still])

    assert run("report", tmp_path / "r.h5") == 0
    assert "the plunger moved" in (tmp_path / "r.html").read_text()


def test_a_report_of_a_recording_without_keys_is_refused_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_recording(tmp_path / "r.h5", a_header(), [])

    assert run("report", tmp_path / "r.h5") == 3
    assert "holds no keys; there is nothing to report" in capsys.readouterr().err
    assert not (tmp_path / "r.html").exists()


def test_a_report_of_too_many_recordings_is_refused_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = a_file(tmp_path / "r.h5")

    assert run("report", *[path] * 5) == 3
    assert "5 recordings; a report tells at most 4 apart" in capsys.readouterr().err


FAST_PROGRAMME = """
name = "fast"
summary = "too fast for slow strokes"
[[steps]]
do = "strokes"
speed_mm_per_s = 50.0
"""

TROUBLES = [
    pytest.param(("measure", "none.h5"), 3, "no such file", id="measure: no file"),
    pytest.param(("measure", "words.txt"), 3, "no HDF5 file", id="measure: not a recording"),
    pytest.param(("measure", "r.h5", "--keys", "A0"), 3, "none of the keys", id="measure: key not recorded"),
    pytest.param(("measure", "r.h5", "--units", "kg,m"), 2, "invalid choice", id="measure: unknown units"),
    pytest.param(("measure", "r.h5", "--json", "--csv"), 2, "not allowed", id="measure: two forms"),
    pytest.param(("measure", "r.h5", "--budget", "C4:weight"), 2, "no measurand", id="measure: budget of nothing"),
    pytest.param(("measure", "r.h5", "--budget", "down_weight"), 2, "KEY:MEASURAND", id="measure: budget of no key"),
    pytest.param(("measure", "r.h5", "--budget", "A0:key_dip"), 3, "holds no A0", id="measure: budget, not recorded"),
    pytest.param(
        ("measure", "r.h5", "--budget", "C4:reset_height"), 3, "has no value", id="measure: budget of a missing number"
    ),
    pytest.param(("measure", "r.h5", "--budget", "C4:key_dip", "--csv"), 2, "leave --csv", id="measure: budget as CSV"),
    pytest.param(("measure", "r.h5", "--whole-grams", "--json"), 2, "leave --json", id="measure: whole grams as JSON"),
    pytest.param(("measure", "r.h5", "--monte-carlo", "20000"), 2, "--budget", id="measure: trials of nothing"),
    pytest.param(
        ("measure", "r.h5", "--budget", "C4:key_dip", "--monte-carlo", "9"), 2, "between", id="measure: few trials"
    ),
    pytest.param(("info", "."), 3, "folder", id="info: a folder"),
    pytest.param(("report", "r.h5", "--out", "no/where"), 3, "no such folder", id="report: no folder"),
    pytest.param(("report", "r.h5", "--curves", "A0"), 3, "holds no A0", id="report: key not recorded"),
    pytest.param(("import", "x.csv", "--key", "C4", "--out", "r.h5"), 3, "left alone", id="import: file exists"),
    pytest.param(("import", "x.csv", "--out", "n.h5"), 3, "no column for key", id="import: no key told"),
    pytest.param(("import", "x.csv", "--key", "H9", "--out", "n.h5"), 2, "'H9' is no key", id="import: no such key"),
    pytest.param(("import", "words.txt", "--key", "C4", "--out", "n.h5"), 3, "no line names", id="import: no table"),
    pytest.param(("import", "empty.csv", "--key", "C4", "--out", "n.h5"), 3, "is empty", id="import: empty file"),
    pytest.param(
        ("import", "bad.csv", "--key", "C4", "--out", "n.h5"), 3, "line 3: force is 'x'", id="import: bad cell"
    ),
    pytest.param(("import", "x.csv", "--key", "C4", "--out", "no/n.h5"), 3, "no such folder", id="import: no folder"),
    pytest.param(
        ("import", "x.csv", "--key", "C4", "--out", "n.h5", "--column", "force=3:kg"),
        2,
        "'kg' is no unit",
        id="import: unit",
    ),
    pytest.param(
        ("import", "x.csv", "--key", "C4", "--out", "n.h5", "--column", "weight=3"),
        2,
        "maps no column",
        id="import: map",
    ),
    pytest.param(
        ("import", "x.csv", "--key", "C4", "--out", "n.h5", "--column", "force=9:N"),
        3,
        "no column '9'",
        id="import: column",
    ),
    pytest.param(
        ("import", "x.csv", "--key", "C4", "--out", "n.h5", "--rate", "9"), 3, "leave --rate", id="import: rate"
    ),
    pytest.param(("survey", "--port", "/dev/none", "--out", "n.h5"), 4, "no such port", id="survey: no port"),
    pytest.param(("survey", "--port", "/dev/none", "--out", "r.h5"), 3, "left alone", id="survey: file exists"),
    pytest.param(
        ("survey", "--port", "x", "--out", "n.h5", "--programme", "fast"), 3, "full, repetition", id="survey: programme"
    ),
    pytest.param(
        ("survey", "--port", "x", "--out", "n.h5", "--programme", "fast.toml"), 3, "less than or", id="survey: too fast"
    ),
    pytest.param(
        ("survey", "--port", "x", "--out", "n.h5", "--plan", "plan.toml"), 3, "visit 1, keys: 'H9'", id="survey: plan"
    ),
    pytest.param(
        ("survey", "--port", "x", "--out", "n.h5", "--plan", "none.toml"), 3, "none.toml: No such", id="survey: no plan"
    ),
    pytest.param(("press", "C4", "--port", "x", "--out", "n.h5", "--strokes", "0"), 2, "between 1", id="press: none"),
    pytest.param(("press", "H4", "--port", "x", "--out", "n.h5"), 2, "no key", id="press: no key"),
    pytest.param(
        ("press", "C4", "--port", "x", "--out", "n.h5", "--profile", "mine"), 3, "lines_csv", id="press: no profile"
    ),
    pytest.param(("press", "C4", "--port", "/dev/none", "--out", "n.h5"), 4, "no such port", id="press: no port"),
    pytest.param(("resume", "n.h5", "--port", "/dev/none"), 3, "cannot be gone on with", id="resume: nothing"),
    pytest.param(("check", "--still"), 2, "required: --port", id="check: no port told"),
    pytest.param(("check", "--port", "/dev/none", "--still"), 4, "no such port", id="check: no port"),
    pytest.param(("check", "--port", "x", "--seconds", "0.5"), 2, "between 2 and 3600", id="check: too short a rest"),
    pytest.param(("check", "--port", "x", "--seconds", "ten"), 2, "ten", id="check: no number of seconds"),
    pytest.param(("repair", "."), 3, "header.h5 is missing", id="repair: another folder"),
    pytest.param(("virtual-rig", "--scenario", "fir"), 3, "fern, moss", id="virtual-rig: no scenario"),
    pytest.param(("virtual-rig", "--lines", "my"), 3, "lines_csv, lines_spaces", id="virtual-rig: no profile"),
    pytest.param(("virtual-rig", "--workbench", "my"), 3, "built in is tern_lane", id="virtual-rig: no workbench"),
    pytest.param(("virtual-rig", "--speed", "0"), 2, "0.01 and 1000", id="virtual-rig: no speed"),
    pytest.param(("virtual-rig", "--tcp", "99999"), 2, "0 and 65535", id="virtual-rig: no TCP port"),
    pytest.param(("virtual-rig", "--truths", "no/t.json"), 3, "no: no such folder", id="virtual-rig: no folder"),
    pytest.param(("virtual-rig", "--truths", "words.txt"), 3, "left alone", id="virtual-rig: somebody's file"),
    pytest.param(("demo", "--out", "x.csv"), 3, "x.csv: File exists", id="demo: a file for a folder"),
    pytest.param(("demo", "--scenario", "fir"), 2, "invalid choice", id="demo: no scenario"),
    pytest.param(("dance",), 2, "invalid choice", id="no such command"),
    pytest.param((), 2, "required", id="no command"),
]


@pytest.mark.parametrize(("words", "code", "told"), TROUBLES)
def test_trouble_is_one_clear_sentence_an_exit_code_and_nothing_written(
    words: tuple[str, ...],
    code: int,
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    a_file(tmp_path / "r.h5")
    a_table(tmp_path / "x.csv", strokes=1)
    (tmp_path / "fast.toml").write_text(FAST_PROGRAMME)
    (tmp_path / "plan.toml").write_text('[[visit]]\nkeys = "H9"\n')
    (tmp_path / "words.txt").write_text("only words\n" * 30)
    (tmp_path / "empty.csv").write_text("")
    (tmp_path / "bad.csv").write_text("time_s,displacement_mm,force_N\n" + "0,0,0\n" + "1,1,x\n" + "2,2,2\n" * 30)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}

    assert run(*words) == code
    said = capsys.readouterr()
    assert told in said.err
    assert "Traceback" not in said.err
    assert said.out == ""
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_every_trouble_that_is_expected_has_an_exit_code() -> None:
    import daq.errors
    import processing.errors
    import recordings.errors
    import rig.errors
    from keyplumb.exit_codes import EXIT_CODES

    coded = tuple(kind for kind, _ in EXIT_CODES)
    for module in (daq.errors, recordings.errors, processing.errors, rig.errors):
        kinds = [kind for kind in vars(module).values() if isinstance(kind, type) and issubclass(kind, Exception)]
        assert [kind for kind in kinds if not issubclass(kind, (*coded, rig.errors.NoMotor))] == []  # that is a bug


def test_a_table_of_many_keys_is_whole_where_nobody_looks_at_a_screen(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")

    assert run("measure", a_file(tmp_path / "r.h5", keys=8)) == 0
    said = capsys.readouterr().out
    head = next(line for line in said.splitlines() if line.startswith("key "))
    assert "…" not in said
    assert head.split()[2:6] == ["uncalibrated"] * 3 + ["mm"]
