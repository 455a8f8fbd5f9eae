"""Calibrations by the commands themselves, through a pseudo-terminal, with a person in code at the virtual bench.

What is found is held against what the rig knows of itself. The rig is seeded, but when the person acts is not, so every
run draws anew, and there are some forty draws. So the allowance is 4.5 standard uncertainties as the record states
them: chance alone fails one run in some thousands (uncertainties of few degrees of freedom are widened for that), and
what the rig is wrong about itself is far more than that.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from keyplumb.__main__ import main
from recordings.calibration_file import read_calibration, write_calibration
from recordings.calibration_readings import read_readings
from tests.end_to_end.operators import (
    BLOCKS,
    GRAVITY,
    MASSES,
    Calibrated,
    Deed,
    ServedRig,
    a_served_rig,
    as_asked,
    calibrate,
)

pytestmark = pytest.mark.slow
SIGMAS = 4.5
OF_FORCE = ("--masses", str(MASSES), "--gravity", GRAVITY)
STATED_DELAY_US = 2000.0
"""What the virtual rig says of its force channel."""


def records_in(folder: Path) -> list[Path]:
    return sorted(folder.glob("*.json"))


def number(done: Calibrated, name: str) -> tuple[float, float]:
    found = done.view["numbers"][name]
    return found["value"], found["u"]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[ServedRig, Path, dict[str, Calibrated]]]:
    """All parts, one after the other, on one rig; a survey of one key with the record and one without."""
    folder = tmp_path_factory.mktemp("bench")
    calibrations = str(folder / "calibrations")
    with a_served_rig(folder) as rig:
        around = ("--environment", "21.5C, 40%, 1010hPa", "--operator", "Ada")
        done = {
            "force": calibrate(rig, "force", calibrations, *OF_FORCE, *around),
            "skew": calibrate(rig, "skew", calibrations),
            "displacement": calibrate(rig, "displacement", calibrations, "--blocks", str(BLOCKS)),
            "compliance": calibrate(rig, "compliance", calibrations, "--valid-days", "30"),
            "contact": calibrate(rig, "contact", calibrations, "--behind-front", "13±0.5", "--lever", "218±1"),
        }
        yield rig, folder, done


def test_every_calibration_is_done_without_a_mistake(whole: Any) -> None:
    _, _, done = whole

    assert {kind: (one.code, one.view["verdict"], one.view["faults"]) for kind, one in done.items()} == dict.fromkeys(
        done, (0, "done", [])
    )


def test_the_force_found_is_the_true_one(whole: Any) -> None:
    rig, _, done = whole
    scale, u_scale = number(done["force"], "scale")
    bend, u_bend = number(done["force"], "curvature")

    assert scale == pytest.approx(rig.truths["force"]["newton_per_count"], abs=SIGMAS * u_scale)
    assert bend == pytest.approx(rig.truths["force"]["newton_per_count2"], abs=SIGMAS * u_bend)
    assert u_scale < 5e-4 * scale  # sure enough to see the 1.2 % by which the rig is wrong about itself
    assert scale != pytest.approx(1 / 20000, rel=5e-3)


def test_the_scale_of_displacement_and_the_backlash_found_are_the_true_ones(whole: Any) -> None:
    rig, _, done = whole
    scale, u_scale = number(done["displacement"], "scale")
    backlash, u_backlash = number(done["displacement"], "backlash")

    assert scale == pytest.approx(rig.truths["displacement"]["mm_per_count"], abs=SIGMAS * u_scale)
    assert backlash == pytest.approx(rig.truths["displacement"]["backlash_mm"], abs=SIGMAS * u_backlash)
    assert u_scale < 5e-4 * scale
    assert u_backlash < 0.2 * backlash


def test_the_give_found_is_the_true_one_at_every_force(whole: Any) -> None:
    rig, _, done = whole
    points = done["compliance"].view["record"]["compliance"]["points"]
    truth = rig.truths["compliance"]

    for point in points[1:]:
        true_mm = float(np.interp(point["newton"], truth["newton"], truth["mm"]))
        assert point["mm"] == pytest.approx(true_mm, abs=SIGMAS * point["u_mm"]), point
        assert point["u_mm"] < 0.001
    assert abs(points[-1]["mm"] - 0.02 * points[-1]["newton"]) > 0.002  # the rig is wrong about its own give


def test_the_skew_found_is_the_true_one(whole: Any) -> None:
    rig, _, done = whole
    skew_us, u_us = number(done["skew"], "skew")

    assert skew_us == pytest.approx(STATED_DELAY_US + rig.truths["skew_us"], abs=SIGMAS * u_us)
    assert u_us < 50.0


def test_each_record_takes_over_the_parts_before_it_and_the_earlier_last_day(whole: Any) -> None:
    _, folder, done = whole
    last = done["contact"].view["record"]
    before = done["compliance"].view["record"]

    assert {"force", "displacement", "compliance", "skew", "contact_point"} <= last.keys()
    assert last["supersedes"] == before["id"]
    assert last["force"] == done["force"].view["record"]["force"]
    assert last["valid_until"] == before["valid_until"]  # 30 days, not its own 365
    assert last["environment"]["celsius"] == 21.5
    assert len(records_in(folder / "calibrations")) == 5  # history stays
    assert done["skew"].view["taken_over"].startswith("force taken over")


def test_a_record_can_be_made_again_from_the_readings(whole: Any, tmp_path: Path, capsys: Any) -> None:
    _, _, done = whole
    for kind in ("force", "skew"):
        code = main(["calibrate", kind, str(tmp_path), "--from", done[kind].view["readings"], "--json"])
        again = json.loads(capsys.readouterr().out)

        assert code == 0
        assert again["record"][kind] == done[kind].view["record"][kind]


def test_a_survey_with_the_record_is_right_and_one_without_is_off_and_says_so(whole: Any, capsys: Any) -> None:
    rig, folder, _ = whole
    rig.say("under key C4")
    alone = folder / "alone"
    alone.mkdir()
    found = {}
    for path in (folder / "with.h5", alone / "without.h5"):
        assert main(["survey", "--port", rig.port, "--keys", "C4", "--out", str(path)]) == 0
        capsys.readouterr()
        assert main(["measure", str(path), "--json"]) == 0
        found[path.stem] = json.loads(capsys.readouterr().out)
    keys = json.loads((folder / "truths.json").read_text())["keys"]
    true = next(key["features"] for key in keys if key["number"] == 40)

    sides = {stem: view["keys"][0]["features"] for stem, view in found.items()}
    for name in ("down_weight", "up_weight", "key_dip", "letoff_peak_position", "aftertouch"):
        right, wrong = sides["with"][name], sides["without"][name]
        true_value = true[name]
        assert abs(right["value"] - true_value) <= SIGMAS / 2.0 * right["U95"], name
        assert "uncalibrated" in wrong["flags"], name
        assert "uncalibrated" not in right["flags"], name
    off = {stem: abs(side["down_weight"]["value"] - true["down_weight"]) for stem, side in sides.items()}
    assert off["without"] > 3.0 * off["with"]
    assert found["with"]["calibration"]["status"] == "calibrated"
    assert found["without"]["calibration"]["status"] == "missing"


def test_an_expired_record_is_flagged_and_nothing_of_it_is_taken_over(whole: Any, tmp_path: Path, capsys: Any) -> None:
    rig, _, done = whole
    new = read_calibration(Path(done["skew"].view["file"]))
    old = replace(new, made_at=new.made_at - timedelta(days=800), valid_until=new.made_at - timedelta(days=400))
    (tmp_path / "calibrations").mkdir()
    old_id = write_calibration(tmp_path / "calibrations" / "old.json", old)
    rig.say("under key C4")

    assert main(["survey", "--port", rig.port, "--keys", "C4", "--out", str(tmp_path / "r.h5")]) == 0
    assert "has expired" in capsys.readouterr().err
    assert main(["measure", str(tmp_path / "r.h5"), "--json"]) == 0
    flags = json.loads(capsys.readouterr().out)["keys"][0]["features"]["down_weight"]["flags"]
    later = calibrate(rig, "contact", str(tmp_path / "calibrations"), "--behind-front", "13±0.5")

    assert "calibration_expired" in flags
    assert "has expired" in later.view["taken_over"]
    assert "force" not in later.view["record"]
    assert later.view["record"]["supersedes"] == old_id


def someone_who(does: dict[str, Any], *, answers: dict[str, str] | None = None) -> Deed:
    """Make a person who, at the questions that contain a text, does something else; each only so often as listed."""
    left = {text: list(acts) for text, acts in does.items()}

    def deed(asked: str, place: int) -> tuple[list[str], str]:
        acts, answer = as_asked(asked, place)
        for text, others in left.items():
            if text in asked and others:
                acts = others.pop(0)
        for text, other in (answers or {}).items():
            if text in asked:
                answer = other
        return acts, answer

    return deed


MISTAKES = {
    "one mass for another": (
        {"on the pan: m100 m10 ": [["pan m100 m20"]]},
        {"mass_in_place_of_another", "extra_mass"},
        ("m20", "m10"),
    ),
    "two masses exchanged all along": (
        {"m200 m50": [["pan m200b m100"]] * 9, "m100 m10 ": [["pan m50 m10"]] * 9},
        {"swapped_masses", "swapped_steps", "mass_in_place_of_another", "wrong_mass"},
        ("m100",),
    ),
    "a mass forgotten": ({"m500 m200 (": [["pan m500"]]}, {"forgotten_mass"}, ("m200",)),
    "a finger on the pan": (
        {"m500 (500": [["pan m500", "touch 0.3 60"]], "m500 m200 (": [["touch 0.0001 0.001", "pan m500 m200"]]},
        {"wrong_reading", "extra_mass", "mass_in_place_of_another"},
        ("more than stated",),
    ),
    "a drifting zero": ({"empty": [["pan", "drift 0.004"]]}, {"zero_drift"}, ("empty reading changed",)),
}


@pytest.mark.parametrize("slip", MISTAKES)
def test_a_mistake_with_masses_is_named_and_no_record_is_written(slip: str, tmp_path: Path) -> None:
    does, codes, words = MISTAKES[slip]
    cycles = "2" if "all along" in slip else "1"
    with a_served_rig(tmp_path) as rig:
        done = calibrate(rig, "force", str(tmp_path / "c"), *OF_FORCE, "--cycles", cycles, deed=someone_who(does))

    assert done.code == 1, done.said
    assert done.view["verdict"] == "fail"
    assert {fault["code"] for fault in done.view["faults"]} & codes, done.view["faults"]
    told = " ".join(fault["words"] for fault in done.view["faults"])
    assert all(word in told for word in words), told
    assert "shows what looks like a mistake" in done.said  # at the bench, while it can still be repeated
    assert records_in(tmp_path / "c") == []
    assert Path(done.view["readings"]).is_file()


def test_a_mistake_that_is_repeated_away_leaves_a_good_record_and_stays_among_the_readings(tmp_path: Path) -> None:
    person = someone_who({"m500 m200 (": [["pan m500"]]}, answers={"r repeats this cycle": "r"})
    with a_served_rig(tmp_path) as rig:
        done = calibrate(rig, "force", str(tmp_path / "c"), *OF_FORCE, "--cycles", "2", deed=person)
        scale, u = number(done, "scale")

        assert done.code == 0, done.said
        assert scale == pytest.approx(rig.truths["force"]["newton_per_count"], abs=SIGMAS * u)
    readings = read_readings(Path(done.view["readings"]))
    assert {one.set_aside for one in readings.loads} == {"", "the cycle was repeated"}


def test_a_block_taken_for_another_is_named_and_no_record_is_written(tmp_path: Path) -> None:
    person = someone_who({"block b5 ": [["under block b10"]]})
    with a_served_rig(tmp_path) as rig:
        done = calibrate(rig, "displacement", str(tmp_path / "c"), "--blocks", str(BLOCKS), deed=person)

    assert done.code == 1
    assert [fault["code"] for fault in done.view["faults"]] == ["block_in_place_of_another"]
    assert "b10 lay in place of b5" in done.view["faults"][0]["words"]
    assert records_in(tmp_path / "c") == []


def test_whoever_stops_keeps_what_was_read_and_nothing_else(tmp_path: Path) -> None:
    person = someone_who({}, answers={"cycle 1, 4 of": "q"})
    with a_served_rig(tmp_path) as rig:
        done = calibrate(rig, "force", str(tmp_path / "c"), *OF_FORCE, deed=person)

    (kept,) = (tmp_path / "c").iterdir()
    assert done.code == 130
    assert f"what was read is in {kept}" in done.said
    assert len(read_readings(kept).loads) == 3
    assert done.said.rstrip().endswith("keyplumb: stopped, as asked")


def test_by_hand_a_person_presses_and_the_same_is_found(tmp_path: Path) -> None:
    with a_served_rig(tmp_path, "--hand") as rig:
        done = {
            "skew": calibrate(rig, "skew", str(tmp_path / "c")),
            "displacement": calibrate(rig, "displacement", str(tmp_path / "c"), "--blocks", str(BLOCKS)),
            "compliance": calibrate(rig, "compliance", str(tmp_path / "c")),
        }
        truths = rig.truths

    said = {kind: one.said[-500:] for kind, one in done.items()}
    assert {kind: one.code for kind, one in done.items()} == dict.fromkeys(done, 0), said
    scale, u_scale = number(done["displacement"], "scale")
    backlash, u_backlash = number(done["displacement"], "backlash")
    skew_us, u_us = number(done["skew"], "skew")
    assert scale == pytest.approx(truths["displacement"]["mm_per_count"], abs=SIGMAS * u_scale)
    assert backlash == pytest.approx(truths["displacement"]["backlash_mm"], abs=SIGMAS * u_backlash)
    assert skew_us == pytest.approx(STATED_DELAY_US + truths["skew_us"], abs=SIGMAS * u_us)
