"""`keyplumb check` as it is used: a table and one sentence for people, JSON for programs, an exit code for scripts."""

from __future__ import annotations

import json

import pytest

from keyplumb.__main__ import main
from processing.fitness.table import ITEMS
from rig.virtual.virtual_rig import VirtualRig
from tests.daq.test_trial import KEYS, RigWithoutMotor, a_spec, a_spoiled_rig, a_virtual_rig, served


def checked(rig: VirtualRig, *words: str) -> int:
    with served(rig) as port:
        return main(["check", "--port", port, "--seconds", "5", *words])


def test_a_good_rig_is_fit_in_one_sentence_and_exit_0(capsys: pytest.CaptureFixture[str]) -> None:
    code = checked(a_virtual_rig(drift_walk_newton=2e-6))
    said = capsys.readouterr()

    assert code == 0
    assert said.out.endswith("The rig is fit for a survey.\n")
    assert all(item.caption in said.out for item in ITEMS)
    assert "->" not in said.out
    assert "they can crush" in said.err


def test_a_spoiled_rig_is_unfit_with_advice_and_exit_1(capsys: pytest.CaptureFixture[str]) -> None:
    code = checked(a_spoiled_rig(force_sign=-1.0))
    said = capsys.readouterr().out

    assert code == 1
    assert "NOT FIT for a survey: sign of the force" in said
    assert "swap the cell's signal wires" in " ".join(said.split())


def test_a_still_check_warns_of_no_motion_and_cannot_tell(capsys: pytest.CaptureFixture[str]) -> None:
    code = checked(a_virtual_rig(), "--still")
    said = capsys.readouterr()

    assert code == 6
    assert "Cannot tell" in said.out
    assert "crush" not in said.err
    assert said.out.count("known weight") == 1


def test_a_rig_without_a_motor_cannot_be_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert checked(RigWithoutMotor(KEYS, a_spec())) == 6
    assert "no motor" in capsys.readouterr().out


def test_people_choose_their_units(capsys: pytest.CaptureFixture[str]) -> None:
    checked(a_virtual_rig(), "--still", "--units", "N,mm")

    assert "0.005 / 0.01 N" in capsys.readouterr().out


def test_json_obeys_its_contract(capsys: pytest.CaptureFixture[str]) -> None:
    code = checked(a_virtual_rig(hum_newton=0.04), "--json", "--units", "gf,in")
    view = json.loads(capsys.readouterr().out)

    assert code == 1
    assert view["schema"] == "keyplumb.check/1"
    assert view["verdict"] == "unfit"
    assert "mains hum" in view["sentence"]
    assert view["rig"]["serial_number"] == "V-0001"
    assert view["calibration"]["force"]["calibrated_on"] is None
    assert view["settings"]["hum_unfit_newton"] == 0.010
    assert [item["name"] for item in view["items"]] == [item.name for item in ITEMS]
    for item in view["items"]:
        assert set(item) == {
            "name", "caption", "essential", "verdict", "values", "poor_beyond", "unfit_beyond", "text", "advice"
        }  # fmt: skip
        assert item["verdict"] in ("fit", "poor", "unfit", "not tried")
        assert all(set(value) == {"name", "value", "unit"} for value in item["values"])
    hum = next(item for item in view["items"] if item["name"] == "mains_hum")
    assert hum["values"][0]["unit"] == "N"
    assert hum["values"][0]["value"] == pytest.approx(0.04, rel=0.05)
