"""Scenario files: two built-in keyboards, seeded; wrong files are refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest

from recordings.keys import ALL_KEYS
from rig.errors import MalformedScenario
from rig.virtual.scenario import SCENARIO_FOLDER, is_sharp, keyboard_of, load_scenario
from rig.virtual.truths import true_curve, true_features


@pytest.mark.parametrize("name", ["fern", "moss"])
def test_a_built_in_keyboard_has_88_keys_and_five_faults(name: str) -> None:
    keys = keyboard_of(load_scenario(name))

    assert [key.number for key in keys] == list(range(1, 89))
    assert {key.fault for key in keys if key.fault} == {
        "sticky", "gritty", "no_notch", "weak_return", "late_contact",
    }  # fmt: skip


def test_a_scenario_is_the_same_each_time() -> None:
    assert keyboard_of(load_scenario("fern")) == keyboard_of(load_scenario("fern"))


def test_rig_and_recordings_agree_on_the_sharps() -> None:
    assert [is_sharp(key.number) for key in ALL_KEYS] == [key.colour == "sharp" for key in ALL_KEYS]


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        pytest.param(lambda text: text.replace("seed = ", "sead = "), "seed", id="a word misspelt"),
        pytest.param(lambda text: text.replace('kind = "sticky"', 'kind = "haunted"'), "faults", id="no such fault"),
        pytest.param(lambda text: text + "\n[[", "key part", id="no TOML"),
    ],
)
def test_a_wrong_file_is_refused_with_file_and_place(spoil, told, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "mine.toml"
    path.write_text(spoil((SCENARIO_FOLDER / "fern.toml").read_text()))

    with pytest.raises(MalformedScenario, match=told) as refused:
        load_scenario(str(path))
    assert "mine.toml" in str(refused.value)


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(MalformedScenario, match="fern, moss"):
        load_scenario("fir")


def test_plain_keys_lie_in_the_bands_of_the_trade() -> None:
    """Common practice: down weight 40..65 gf, friction 8..16 gf, key dip 9.0..11.5 mm, aftertouch 0.8..2.5 mm."""
    for key in keyboard_of(load_scenario("fern"))[::8]:
        truth = {name: value for name, value in true_features(key).items() if value is not None}
        if key.fault is None:
            assert 40.0 < truth["down_weight"] / 0.00980665 < 65.0
            assert 8.0 < truth["friction"] / 0.00980665 < 16.0
            assert 9.0 < truth["key_dip"] < 11.5
            assert 0.8 < truth["aftertouch"] < 2.5


def test_a_true_curve_loses_work_between_friction_and_felt() -> None:
    """Without a ridge the loop work is 2 friction * way plus the felt's loss, which is under 0.5 mJ here."""
    key = next(key for key in keyboard_of(load_scenario("fern")) if key.fault == "no_notch")
    curve, truth = true_curve(key), true_features(key)
    assert truth["loop_work"] is not None
    assert truth["bed_contact"] is not None
    friction = key.action.friction.coulomb_newton

    assert curve.way_mm[0] < 0.0 < curve.way_mm[-1]
    assert 0.0 < truth["loop_work"] - 2.0 * friction * truth["bed_contact"] < 0.5
