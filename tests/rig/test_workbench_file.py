"""Workbench files: the built-in one keeps to the limits of its classes; wrong ones are refused with file and place."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

from processing.calibration.masses import load_mass_list, oiml_limits_mg
from rig.errors import MalformedWorkbench
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.truths import write_truths
from rig.virtual.workbench_file import WORKBENCH_FOLDER, load_workbench

TERN_LANE = WORKBENCH_FOLDER / "tern_lane.toml"


def test_the_masses_of_tern_lane_keep_to_class_m1_and_are_listed_for_their_owner() -> None:
    listed = {mass.name: mass for mass in load_mass_list(WORKBENCH_FOLDER / "tern_lane_masses.toml").masses}

    for mass in load_workbench("tern_lane").masses:
        limit_mg = oiml_limits_mg()[mass.nominal_g]["M1"]
        assert abs(mass.true_conventional_g - mass.nominal_g) * 1000.0 <= limit_mg
        assert (listed[mass.name].nominal_g, listed[mass.name].oiml_class) == (mass.nominal_g, "M1")
        assert listed[mass.name].conventional_g is None


def test_the_blocks_of_tern_lane_keep_to_grade_1_and_are_listed_for_their_owner() -> None:
    """ISO 3650, grade 1: 0.20 um up to 10 mm, 0.30 um up to 25 mm."""
    listed = tomllib.loads((WORKBENCH_FOLDER / "tern_lane_blocks.toml").read_text())["block"]
    blocks = load_workbench("tern_lane").blocks

    for block in blocks:
        assert abs(block.true_mm - block.nominal_mm) * 1000.0 <= (0.20 if block.nominal_mm <= 10.0 else 0.30)
    assert listed == [{"name": b.name, "nominal_mm": b.nominal_mm, "grade": "1"} for b in blocks]


@pytest.mark.parametrize(
    ("old", "new", "place", "why"),
    [
        pytest.param("backlash_mm", "backlsh_mm", "displacement.backlsh_mm", "is it misspelt", id="misspelt"),
        pytest.param("gravity_m_per_s2 = 9.81256 ", "", "gravity_m_per_s2", "is missing", id="missing"),
        pytest.param("9.81256", "1.62", "gravity_m_per_s2", "greater than or equal to 9.7", id="gravity of the moon"),
        pytest.param("skew_us = 640.0", "skew_us = -1.0", "force.skew_us", "greater than or equal to 0", id="no time"),
        pytest.param('"m20b"', '"m20"', "masses", "two of them are called 'm20'", id="a name twice"),
        pytest.param('"m20b"', '"m 20"', "masses.4.name", "pattern", id="a name of two words"),
        pytest.param(
            "= 50.0011", "= '50.0011'", "masses.5.true_conventional_g", "valid number", id="a text for a number"
        ),
        pytest.param("table_mm = 22.0", "table_mm = 12.0", None, "block b15 is as high", id="a block too high"),
        pytest.param("way_newton = 0.4", "way_newton = 0.0003", "force", "more than twice", id="hysteresis alone"),
    ],
)
def test_a_wrong_file_is_refused_with_file_line_and_key(
    old: str, new: str, place: str | None, why: str, tmp_path: Path
) -> None:
    text, path = TERN_LANE.read_text(), tmp_path / "mine.toml"
    assert old in text
    path.write_text(text.replace(old, new))

    with pytest.raises(MalformedWorkbench) as refused:
        load_workbench(str(path))

    assert refused.value.key == place
    assert why in refused.value.why
    assert str(refused.value).startswith(str(path))


def test_the_line_of_a_fault_is_told(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(TERN_LANE.read_text().replace("backlash_mm = 0.006", "backlash_mm = -0.006"))
    line = TERN_LANE.read_text().splitlines().index("backlash_mm = 0.006") + 1

    with pytest.raises(MalformedWorkbench, match=f"mine.toml, line {line}: displacement.backlash_mm: "):
        load_workbench(str(path))


@pytest.mark.parametrize(
    ("content", "why"),
    [
        pytest.param(None, "no such workbench; built in is tern_lane", id="no file"),
        pytest.param(b"\xff\xfe", "no UTF-8", id="no text"),
        pytest.param(b"[[", "key part", id="no TOML"),
    ],
)
def test_what_is_no_workbench_at_all_is_refused(content: bytes | None, why: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(MalformedWorkbench, match=why):
        load_workbench(str(path))


def test_the_truths_are_written_beside_those_of_the_keys(tmp_path: Path) -> None:
    scenario = load_scenario("fern")
    truth = load_workbench("tern_lane")
    path = tmp_path / "t.json"

    write_truths(path, scenario, keyboard_of(scenario)[:1], truth, BenchSpec())

    told = json.loads(path.read_text())["workbench"]
    assert told["force"]["newton_per_count"] == pytest.approx((1 - 0.0123) / 20000.0, rel=1e-15)
    assert told["force"]["newton_per_count2"] == pytest.approx(0.0004 / 20000.0**2, rel=1e-15)
    assert told["displacement"] == {"mm_per_count": pytest.approx(1.0036 / 500.0, rel=1e-15), "backlash_mm": 0.006}
    assert (told["skew_us"], told["force_delay_us"]) == (640.0, 2640.0)
    assert told["gravity_m_per_s2"] == 9.81256
    give = np.array(told["compliance"]["mm"])
    assert 41.0 * give + 130.0 * give**2 == pytest.approx(np.array(told["compliance"]["newton"]), abs=1e-12)


def test_without_a_workbench_no_truths_of_one_are_written(tmp_path: Path) -> None:
    scenario = load_scenario("fern")
    path = tmp_path / "t.json"

    write_truths(path, scenario, keyboard_of(scenario)[:1], None, BenchSpec())

    assert "workbench" not in json.loads(path.read_text())
