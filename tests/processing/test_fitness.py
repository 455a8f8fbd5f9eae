"""Every item of a rig's fitness: fit on a good rig, poor or unfit on one that is spoiled in a known way."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from processing.display import Units
from processing.fitness.assess import assess
from processing.fitness.converter import missing_codes, stuck_bits
from processing.fitness.judgement import Fitness, Judgement
from processing.fitness.settings import FitnessSettings
from processing.fitness.table import ITEMS
from processing.fitness.view import SI, fitness_view, limit_in_words, sentence, words
from recordings.trial import Trial
from recordings.types import Damage, RawTrace
from tests.processing.trials import (
    COUNTS_PER_NEWTON,
    LEFT_OUT,
    NOISE_NEWTON,
    TriedRig,
    a_stretch,
    a_touch,
    a_trial,
    seconds,
    white,
)

NAMES = [item.name for item in ITEMS]
NEED_MOTION = {
    "displacement_alive",
    "displacement_codes",
    "moving_noise",
    "air_force",
    "encoder",
    "polarity",
    "force_limit",
}


def judged(trial: Trial, name: str) -> Judgement:
    return assess(trial)[name]


def value(judgement: Judgement, name: str) -> float:
    return next(each.value for each in judgement.values if each.name == name)


def not_fit(fitness: Fitness) -> dict[str, str]:
    return {r.item.name: r.judgement.verdict for r in fitness.items if r.judgement.verdict != "fit"}


def ticking(tick_us: np.ndarray, *, numbers: np.ndarray | None = None) -> Trial:
    """A trial whose rest has these ticks and, if told, sample numbers."""
    plain = a_stretch(0.05 + white(len(tick_us)))
    numbers = plain.sample_number if numbers is None else numbers
    return a_trial(
        rest=RawTrace(
            numbers.astype(np.int64),
            tick_us.astype(np.int64),
            plain.force_counts.copy(),
            plain.displacement_counts.copy(),
        )
    )


def with_counts(counts: np.ndarray) -> Trial:
    """A trial whose rest shows these force counts."""
    plain = a_stretch(np.zeros(len(counts)))
    return a_trial(
        rest=RawTrace(
            plain.sample_number.copy(), plain.tick_us.copy(), counts.astype(np.int32), plain.displacement_counts.copy()
        )
    )


def test_a_good_rig_is_fit_in_every_item() -> None:
    fitness = assess(a_trial())

    assert not_fit(fitness) == {}
    assert fitness.overall == "fit"
    assert sentence(fitness) == "The rig is fit for a survey."


def test_a_rig_that_was_not_moved_cannot_be_called_fit() -> None:
    fitness = assess(a_trial(air=LEFT_OUT, touch=LEFT_OUT))

    assert not_fit(fitness) == dict.fromkeys(NEED_MOTION, "not tried")
    assert fitness.overall == "cannot tell"
    assert "sign of the force" in sentence(fitness)
    assert fitness["polarity"].advice == "try it"


def test_a_rest_with_too_few_samples_cannot_be_judged() -> None:
    fitness = assess(a_trial(TriedRig(rest_s=0.5)))

    assert fitness["noise"].verdict == "not tried"
    assert fitness.overall == "cannot tell"


def test_no_sample_at_all_cannot_be_judged() -> None:
    fitness = assess(a_trial(rest=RawTrace.none(), air=LEFT_OUT, touch=LEFT_OUT))

    assert {result.judgement.verdict for result in fitness.items} == {"not tried"}
    assert fitness.overall == "cannot tell"


def test_one_unfit_item_outweighs_what_was_not_tried() -> None:
    assert assess(a_trial(TriedRig(noise_newton=0.02), air=LEFT_OUT, touch=LEFT_OUT)).overall == "unfit"


def test_poor_items_leave_a_rig_fit_and_are_named() -> None:
    fitness = assess(a_trial(TriedRig(noise_newton=0.007)))

    assert not_fit(fitness) == {"noise": "poor", "moving_noise": "poor"}
    assert fitness.overall == "fit"
    assert "poor in: noise of one sample" in sentence(fitness)


# samples


@pytest.mark.parametrize(("rate_hz", "verdict"), [(1000.5, "fit"), (1005.0, "poor"), (1020.0, "unfit")])
def test_the_rate_is_held_against_the_rigs_own_statement(rate_hz: float, verdict: str) -> None:
    found = judged(a_trial(TriedRig(rate_hz=rate_hz)), "sample_rate")

    assert found.verdict == verdict
    assert value(found, "measured") == pytest.approx(rate_hz, rel=1e-6)


def test_a_rate_too_slow_for_a_let_off_is_poor() -> None:
    assert judged(a_trial(TriedRig(rate_hz=100.0, rest_s=20.0), stated_hz=100.0), "sample_rate").verdict == "poor"


def test_a_rig_that_states_no_rate_leaves_it_open() -> None:
    assert judged(a_trial(stated_hz=None), "sample_rate").verdict == "not tried"


@pytest.mark.parametrize(("late_us", "verdict"), [(200, "fit"), (900, "poor"), (3000, "unfit")])
def test_jitter_is_the_worst_step_and_its_standard_deviation(late_us: int, verdict: str) -> None:
    """Every second tick is late by d: steps are 1000 + d and 1000 - d, so both numbers are d."""
    ticks = 1000 * np.arange(10_001) + late_us * (np.arange(10_001) % 2)
    found = judged(ticking(ticks), "tick_jitter")

    assert found.verdict == verdict
    assert value(found, "worst") == pytest.approx(late_us, abs=0.1)
    assert value(found, "standard_deviation") == pytest.approx(late_us, rel=1e-3)


def test_ticks_that_go_back_are_unfit() -> None:
    ticks = 1000 * np.arange(10_000)
    ticks[500] = ticks[499]

    assert judged(ticking(ticks), "tick_jitter").verdict == "unfit"


@pytest.mark.parametrize(("lost", "verdict"), [(3, "poor"), (500, "unfit")])
def test_a_gap_is_counted_and_does_not_change_rate_or_jitter(lost: int, verdict: str) -> None:
    numbers = np.arange(10_000) + lost * (np.arange(10_000) >= 4000)
    fitness = assess(ticking(1000 * numbers, numbers=numbers))

    assert value(fitness["samples_lost"], "lost") == lost
    assert fitness["samples_lost"].verdict == verdict
    assert fitness["sample_rate"].verdict == fitness["tick_jitter"].verdict == "fit"
    assert fitness["noise"].verdict == fitness["stability"].verdict == "fit"


def test_damage_that_lost_no_sample_is_poor_and_told() -> None:
    found = judged(a_trial(damage=(Damage(0, "damaged_bytes", 7, "CRC"),)), "samples_lost")

    assert found.verdict == "poor"
    assert "7 damaged bytes" in words(found, SI)


# converter


@settings(max_examples=40)
@given(bit=st.integers(0, 4), state=st.booleans(), seed=st.integers(0, 99))
def test_a_bit_that_the_noise_spans_and_that_never_changes_is_found(bit: int, state: bool, seed: int) -> None:
    counts = np.rint(60.0 * np.random.default_rng(seed).standard_normal(4000)).astype(np.int32) + 1000
    spoiled = counts | (1 << bit) if state else counts & ~np.int32(1 << bit)

    assert stuck_bits(counts, cells=8) == ()
    assert stuck_bits(spoiled, cells=8) == (bit,)


@pytest.mark.parametrize(
    ("mask", "verdict", "bits"),
    [(~0, "fit", 0), (~0b11, "poor", 2), (~0b100, "unfit", 1)],
    ids=["all bits work", "the lowest two are never used", "one between others is stuck"],
)
def test_unused_low_bits_cost_resolution_and_a_stuck_one_between_is_a_fault(mask: int, verdict: str, bits: int) -> None:
    counts = np.rint(1000 + 60.0 * white(20_000, 1.0)).astype(np.int32) & np.int32(mask)
    found = judged(with_counts(counts), "force_codes")

    assert found.verdict == verdict
    assert value(found, "stuck_bits") == bits


def test_a_count_that_never_comes_is_missed() -> None:
    counts = np.rint(60.0 * white(20_000, 1.0)).astype(np.int32)
    counts[counts == 17] = 18

    assert missing_codes(counts, samples_per_code=20.0) == (1, 119)
    assert judged(with_counts(counts), "force_codes").verdict == "poor"


def test_too_few_samples_cannot_miss_a_count() -> None:
    assert missing_codes(np.rint(600.0 * white(2000, 1.0)).astype(np.int32), samples_per_code=20.0) is None


def test_a_stuck_bit_of_the_displacement_shows_on_the_way() -> None:
    trial = a_trial()
    spoiled = tuple(
        RawTrace(m.sample_number, m.tick_us, m.force_counts, m.displacement_counts & np.int32(~0b1000))
        for m in trial.air.moving  # type: ignore[union-attr]
    )
    air = replace(trial.air, moving=spoiled)  # type: ignore[type-var]

    assert judged(trial, "displacement_codes").verdict == "fit"
    assert judged(replace(trial, air=air), "displacement_codes").verdict == "unfit"


def test_a_dead_cell_is_unfit() -> None:
    fitness = assess(replace(with_counts(np.full(10_000, 77)), air=LEFT_OUT, touch=LEFT_OUT))

    assert fitness["force_alive"].verdict == "unfit"
    assert fitness.overall == "unfit"


def test_a_cell_whose_counts_hide_its_noise_is_poor_not_dead() -> None:
    assert judged(with_counts(np.full(10_000, 77)), "force_alive").verdict == "poor"


def test_a_gauge_that_stands_still_may_show_one_count_but_not_when_moved() -> None:
    still = a_trial(air=LEFT_OUT, touch=LEFT_OUT)
    moved = a_trial(TriedRig(place_scale=0.0), touch=LEFT_OUT)

    assert judged(still, "displacement_alive").verdict == "not tried"
    assert judged(moved, "displacement_alive").verdict == "unfit"


# room


def test_counts_at_the_rail_are_cut_off() -> None:
    found = judged(a_trial(rest=a_stretch(np.clip(19.999 + white(10_000), -20.0, 20.0))), "saturation")

    assert found.verdict == "unfit"


@pytest.mark.parametrize("edge", [-1.0, 1.0])
def test_noise_clipped_at_an_unknown_rail_piles_up(edge: float) -> None:
    """Clipped at half a standard deviation, Phi(-0.5) = 30.9 % of normal noise lies on the edge."""
    counts = np.rint(60.0 * white(20_000, 1.0))
    clipped = np.minimum(counts, 30.0) if edge > 0 else np.maximum(counts, -30.0)
    found = judged(with_counts(clipped), "saturation")

    assert found.verdict == "unfit"
    assert value(found, "cut_off") == pytest.approx(0.309 * 20_000, rel=0.05)


@pytest.mark.parametrize(
    ("zero_newton", "verdict"), [(1.0, "fit"), (-3.0, "poor"), (3.0, "poor"), (16.0, "unfit"), (-16.0, "poor")]
)
def test_the_zero_must_lie_low_and_leave_room_for_a_press(zero_newton: float, verdict: str) -> None:
    found = judged(a_trial(TriedRig(zero_newton=zero_newton)), "zero")

    assert found.verdict == verdict
    assert value(found, "zero") == pytest.approx(zero_newton, abs=0.001)
    assert value(found, "room_above") == pytest.approx(20.0 - zero_newton, abs=0.001)


# quiet


@settings(max_examples=20)
@given(sigma=st.floats(0.0005, 0.05), seed=st.integers(0, 99))
def test_white_noise_has_its_standard_deviation_and_gives_a_weight_its_u(sigma: float, seed: int) -> None:
    """u of a mean of n samples is sigma / sqrt(n), n = 250 in the window of a weight."""
    fitness = assess(a_trial(TriedRig(noise_newton=sigma, seed=seed)))

    assert value(fitness["noise"], "standard_deviation") == pytest.approx(sigma, rel=0.03)
    assert value(fitness["noise_density"], "weight_u") == pytest.approx(sigma / np.sqrt(250.0), rel=0.15)
    if not 0.0048 < sigma < 0.0052 and not 0.0097 < sigma < 0.0103:  # next to a limit either may come
        assert fitness["noise"].verdict == ("fit" if sigma < 0.005 else "poor" if sigma < 0.010 else "unfit")


@pytest.mark.parametrize(("hum_newton", "verdict"), [(0.0015, "fit"), (0.007, "poor"), (0.05, "unfit")])
@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_found_at_its_frequency_and_kept_apart_from_noise(
    hum_newton: float, verdict: str, mains_hz: float
) -> None:
    hum = hum_newton * np.sin(2.0 * np.pi * mains_hz * seconds(10_000))
    fitness = assess(a_trial(rest=a_stretch(0.05 + hum + white(10_000))))

    assert fitness["mains_hum"].verdict == verdict
    assert value(fitness["mains_hum"], "amplitude") == pytest.approx(hum_newton, abs=0.0003)
    assert value(fitness["mains_hum"], "frequency") == pytest.approx(mains_hz, abs=0.05)
    assert fitness["noise"].verdict == fitness["noise_density"].verdict == "fit"
    assert value(fitness["noise"], "standard_deviation") == pytest.approx(NOISE_NEWTON, rel=0.03)


def test_without_hum_the_smallest_that_would_show_is_told() -> None:
    found = judged(a_trial(), "mains_hum")

    assert value(found, "amplitude") == 0.0
    assert 0.0001 < value(found, "detection_limit") < 0.0005


def test_a_slow_sampler_cannot_show_hum() -> None:
    assert judged(a_trial(TriedRig(rate_hz=100.0, rest_s=20.0), stated_hz=100.0), "mains_hum").verdict == "not tried"


@pytest.mark.parametrize(
    ("newton_per_min", "verdict"), [(0.003, "fit"), (0.03, "poor"), (0.1, "unfit"), (-0.1, "unfit")]
)
def test_a_steady_drift_has_its_slope_within_its_interval(newton_per_min: float, verdict: str) -> None:
    drifting = 0.05 + newton_per_min / 60.0 * seconds(10_000) + white(10_000)
    found = judged(a_trial(rest=a_stretch(drifting)), "drift")

    assert found.verdict == verdict
    assert value(found, "low") < newton_per_min < value(found, "high")
    assert value(found, "slope") == pytest.approx(newton_per_min, abs=0.001)


def test_a_slope_that_noise_may_have_made_is_not_called_unfit() -> None:
    """The interval of the slope reaches below the limit, so more than poor cannot be said."""
    loud = 0.06 / 60.0 * seconds(2000) + white(2000, 0.003, seed=3)
    found = judged(a_trial(rest=a_stretch(loud)), "drift")

    assert value(found, "low") < 60.0 * 0.0049 / 6.0 < abs(value(found, "slope"))
    assert found.verdict == "poor"


def test_so_much_noise_that_the_slope_may_have_either_sign_is_no_drift() -> None:
    found = judged(a_trial(rest=a_stretch(white(2000, 0.03, seed=3))), "drift")

    assert value(found, "low") < -60.0 * 0.0049 / 6.0
    assert value(found, "high") > 60.0 * 0.0049 / 6.0
    assert found.verdict != "unfit"


def test_stability_of_white_noise_is_its_mean_over_a_second() -> None:
    """sigma / sqrt(1000) at 1 s; 59 overlapping pairs know it to some 10 %."""
    found = judged(a_trial(TriedRig(rest_s=60.0)), "stability")

    assert value(found, "allan_1s") == pytest.approx(NOISE_NEWTON / np.sqrt(1000.0), rel=0.3)
    assert found.verdict == "fit"


def test_a_wandering_zero_is_unstable() -> None:
    """A random walk of s a sample has s sqrt(m / 3) at m samples: 9 mN at 1 s here."""
    wander = np.cumsum(white(60_000, 0.0005, seed=4)) + white(60_000)
    found = judged(a_trial(rest=a_stretch(wander)), "stability")

    assert value(found, "allan_1s") == pytest.approx(0.0005 * np.sqrt(1000.0 / 3.0), rel=0.3)
    assert found.verdict == "unfit"


def test_a_short_rest_leaves_stability_open_and_nothing_essential() -> None:
    fitness = assess(a_trial(TriedRig(rest_s=3.0)))

    assert not_fit(fitness) == {"stability": "not tried"}
    assert fitness.overall == "fit"


# motion


@pytest.mark.parametrize(
    ("scale", "verdict"), [(1.005, "fit"), (0.98, "poor"), (1.1, "unfit"), (-1.0, "unfit"), (0.0, "unfit")]
)
def test_the_gauge_must_show_the_way_that_was_commanded(scale: float, verdict: str) -> None:
    found = judged(a_trial(TriedRig(place_scale=scale)), "encoder")

    assert found.verdict == verdict
    assert value(found, "shown") == pytest.approx(2.0 * scale, abs=0.003)
    assert ("backwards" in found.advice) == (scale < 0)


def test_play_between_gauge_and_plunger_is_poor() -> None:
    assert judged(a_trial(TriedRig(backlash_mm=0.05)), "encoder").verdict == "poor"


@pytest.mark.parametrize(("newton", "verdict"), [(0.02, "poor"), (-0.02, "poor"), (0.1, "unfit")])
def test_a_force_that_changes_in_the_air_is_no_free_plunger(newton: float, verdict: str) -> None:
    found = judged(a_trial(TriedRig(air_newton=newton)), "air_force")

    assert found.verdict == verdict
    assert value(found, "change") == pytest.approx(newton, abs=0.001)


def test_a_touch_that_lowers_the_force_is_unfit_and_warned_of() -> None:
    found = judged(a_trial(TriedRig(force_sign=-1.0)), "polarity")

    assert found.verdict == "unfit"
    assert "never survey like this" in found.advice
    assert "lowers" in words(found, SI)


def test_a_touch_that_may_be_noise_leaves_the_sign_open() -> None:
    touch = a_touch()
    faint = replace(touch, on_key=a_stretch(0.05 + white(300)))

    assert judged(a_trial(touch=faint), "polarity").verdict == "not tried"


@pytest.mark.parametrize(
    ("run_on_mm", "ended_by_limit", "verdict"),
    [(0.03, True, "fit"), (0.5, True, "poor"), (1.5, True, "unfit"), (0.03, False, "unfit")],
)
def test_the_force_limit_must_stop_the_plunger_soon(run_on_mm: float, ended_by_limit: bool, verdict: str) -> None:
    found = judged(a_trial(TriedRig(run_on_mm=run_on_mm, ended_by_limit=ended_by_limit)), "force_limit")

    assert found.verdict == verdict
    assert value(found, "run_on") == pytest.approx(run_on_mm, abs=0.003)
    assert value(found, "overshoot") == pytest.approx(0.35, abs=0.015)


# what is shown


def test_the_view_is_plain_data_without_nan_and_names_every_item() -> None:
    for trial in (a_trial(), a_trial(rest=RawTrace.none(), air=LEFT_OUT, touch=LEFT_OUT)):
        view = json.loads(json.dumps(fitness_view(assess(trial)), allow_nan=False))

        assert view["schema"] == "keyplumb.check/1"
        assert view["verdict"] in ("fit", "unfit", "cannot tell")
        assert [item["name"] for item in view["items"]] == NAMES
        assert all(item["text"] for item in view["items"])
        assert all(item["advice"] for item in view["items"] if item["verdict"] != "fit")
        assert view["settings"]["weight_unfit_newton"] == FitnessSettings().weight_unfit_newton


def test_forces_found_by_the_scale_that_the_rig_states_are_marked() -> None:
    items = {item["name"]: item for item in fitness_view(assess(a_trial()))["items"]}

    assert " N uncalibrated" in items["noise"]["text"]
    assert "uncalibrated" not in items["sample_rate"]["text"]


def test_words_and_limits_are_in_the_readers_units() -> None:
    found = judged(a_trial(TriedRig(zero_newton=0.980665)), "noise")

    assert "gf" in words(found, Units())
    assert limit_in_words(found, Units()) == "0.51 / 1 gf"
    assert limit_in_words(found, SI) == "0.005 / 0.01 N"


@settings(max_examples=15)
@given(gain=st.floats(0.3, 3.0))
def test_finer_counts_of_the_same_force_change_no_verdict(gain: float) -> None:
    """Counts are a matter of the converter: the same noise in newtons is judged the same."""
    trial = a_trial()
    force = replace(trial.calibration.force, counts_per_unit=COUNTS_PER_NEWTON * gain)
    plain = trial.rest
    counts = np.rint((0.05 + white(10_000)) * COUNTS_PER_NEWTON * gain).astype(np.int32)
    rest = RawTrace(plain.sample_number, plain.tick_us, counts, plain.displacement_counts)
    scaled = replace(
        trial, rest=rest, calibration=replace(trial.calibration, force=force), air=LEFT_OUT, touch=LEFT_OUT
    )

    assert not_fit(assess(scaled)).keys() <= NEED_MOTION
