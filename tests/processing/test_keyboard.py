"""Many keys: who stands out, and what is said of all."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from processing.display import Units
from processing.features.table import FEATURES
from processing.keyboard import COMPARED, compare_keys, robust_sigma
from processing.stages import Finding, KeyResult, Measurement
from processing.statistics.keyboard_statistics import describe_keyboard
from processing.summary import summary
from recordings.keys import ALL_KEYS, Key
from tests.builders import SETTINGS, a_header

RANDOM = np.random.default_rng(11)
PLACE = {"letoff_peak_position": 8.0}


def a_result(key: Key, *, letoff: str = "found", findings: tuple[Finding, ...] = (), **values: float) -> KeyResult:
    """A key whose down weight falls from 0.52 N to 0.45 N and the rest lies level, but for the values given."""
    level = {"down_weight": 0.52 - 0.0008 * key.number, "key_dip": 10.0, "friction": 0.11, "letoff_drop": 0.15}
    level = {name: value + 0.001 * RANDOM.standard_normal() for name, value in level.items()} | values
    measurements = tuple(
        Measurement(name=feature.name, unit=feature.unit, value=level.get(feature.name), reason="not made here")
        for feature in FEATURES
    )
    return KeyResult(key, 3, measurements, letoff, findings, curve=object())  # type: ignore[arg-type]


def odd_names(results: list[KeyResult]) -> list[str]:
    return [odd.result.key.name for odd in compare_keys(a_header(), tuple(results), SETTINGS).odd_keys]


def all_but(name: str, odd: KeyResult) -> list[KeyResult]:
    return [odd if key.name == name else a_result(key) for key in ALL_KEYS]


def test_even_keys_do_not_stand_out() -> None:
    assert odd_names([a_result(key) for key in ALL_KEYS]) == []


@pytest.mark.parametrize("compared", [c for c in COMPARED if c.name in ("down_weight", "key_dip", "friction")])
@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("name", ["A0", "C8", "F#4", "C4"])
def test_a_key_that_differs_by_more_than_matters_stands_out(compared, sign: int, name: str) -> None:  # type: ignore[no-untyped-def]
    key = Key.from_name(name)
    usual = {"down_weight": 0.52 - 0.0008 * key.number, "key_dip": 10.0, "friction": 0.11}[compared.name]
    odd = a_result(key, **{compared.name: usual + 1.5 * sign * compared.matters})

    assert odd_names(all_but(name, odd)) == [name]


def test_a_difference_that_does_not_matter_is_passed_over_however_sure() -> None:
    odd = a_result(Key.from_name("C4"), key_dip=10.1)

    assert odd_names(all_but("C4", odd)) == []


def test_a_gritty_key_is_odd_as_such_and_not_for_what_its_uneven_curve_says() -> None:
    grit = Finding("gritty", "the curve is uneven by {}", ((0.02, "N"),), "look at it", odd=True)
    plain = a_result(Key.from_name("C4"), findings=(grit,), down_weight=0.60)
    flagged = replace(
        plain,
        measurements=tuple(
            replace(one, flags=("gritty",)) if one.name == "down_weight" else one for one in plain.measurements
        ),
    )

    def reasons(key: KeyResult) -> list[str]:
        (odd,) = compare_keys(a_header(), tuple(all_but("C4", key)), SETTINGS).odd_keys
        return [reason.code for reason in odd.reasons]

    assert reasons(plain) == ["gritty", "down_weight"]
    assert reasons(flagged) == ["gritty"]


def test_a_hump_in_the_middle_makes_nobody_odd() -> None:
    hump = [a_result(key, friction=0.11 + 0.045 * max(0.0, 1 - ((key.number - 46) / 24) ** 2)) for key in ALL_KEYS]

    assert odd_names(hump) == []


def test_a_step_in_the_treble_makes_nobody_odd() -> None:
    stepped = [a_result(key, release_position=5.4 if key.number < 65 else 7.3) for key in ALL_KEYS]

    assert odd_names(stepped) == []


def test_a_key_without_a_letoff_among_neighbours_with_one_stands_out() -> None:
    odd = a_result(Key.from_name("C4"), letoff="none")

    assert odd_names(all_but("C4", odd)) == ["C4"]


def test_a_keyboard_without_letoffs_has_no_odd_key_for_that() -> None:
    assert odd_names([a_result(key, letoff="none") for key in ALL_KEYS]) == []


def test_what_a_check_found_odd_makes_a_key_stand_out() -> None:
    finding = Finding("gritty", "uneven by {}", ((0.02, "N"),), "clean it", odd=True)

    assert odd_names(all_but("C4", a_result(Key.from_name("C4"), findings=(finding,)))) == ["C4"]


def test_theil_sen_gives_the_handbook_slope() -> None:
    """Hollander & Wolfe's cloud-seeding example (data from memory): median of the ten pairwise slopes is -0.05625."""
    from scipy.stats import theilslopes

    assert theilslopes([1.26, 1.27, 1.12, 1.16, 1.03], [1, 2, 3, 4, 5])[0] == pytest.approx(-0.05625)


def test_the_robust_sigma_of_normal_values_is_their_standard_deviation() -> None:
    assert robust_sigma(3.0 * RANDOM.standard_normal(20_000)) == pytest.approx(3.0, rel=0.05)


def test_settings_can_be_written_down() -> None:
    from dataclasses import asdict

    assert json.loads(json.dumps(asdict(SETTINGS)))["feature"]["bed_newton"] == 3.0


def test_keys_in_motion_are_spoken_of_where_they_were_measured() -> None:
    moving = compare_keys(
        a_header(),
        tuple(a_result(key, note_latency=2.1, effective_mass=0.2, repetition_limit=7.0, **PLACE) for key in ALL_KEYS),
        SETTINGS,
    )
    still = compare_keys(a_header(), tuple(a_result(key, **PLACE) for key in ALL_KEYS), SETTINGS)

    assert summary(moving, describe_keyboard(moving), Units())[-1] == (
        "In motion (medians): note told 2.1 ms late, effective mass 0.200 kg uncalibrated, repeats at 7.0 Hz."
    )
    assert not any("In motion" in sentence for sentence in summary(still, describe_keyboard(still), Units()))
