"""Virtual people press virtual keys in every manner, well and badly; the judge must name each stroke rightly.

The judge is told nothing but counts: what the person meant to do is known from the other side.
"""

from __future__ import annotations

import numpy as np
import pytest

from daq.judge import StrokeJudge
from daq.verdict import FaultKind, NowState, StrokeVerdict
from recordings.types import Calibration, LinearScale, RawTrace
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.person import PRESS_KINDS, PressKind, VirtualPerson
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.sensors import SensorSpec

KEYBOARDS = {name: keyboard_of(load_scenario(name)) for name in ("fern", "moss")}
WORDS: dict[PressKind, str] = {
    "good": "good",
    "too_fast": FaultKind.TOO_FAST,
    "uneven": FaultKind.UNEVEN,
    "short": FaultKind.NOT_TO_THE_BED,
    "not_home": FaultKind.NOT_HOME,
    "preloaded": FaultKind.PRELOADED,
}
QUIET = SensorSpec()
DRIFTING_UP = SensorSpec(force_noise_newton=0.012, drift_newton_per_s=0.05 / 60.0, force_zero_newton=-0.4)
DRIFTING_DOWN = SensorSpec(force_noise_newton=0.012, drift_newton_per_s=-0.05 / 60.0, displacement_counts_per_mm=50.0)
FAULTY = {"fern": (16, 30, 46, 61, 72), "moss": (12, 25, 42, 59, 80)}
"""Weak return, sticky, gritty, no notch, late contact; their neighbours have notch and, in fern, dampers."""


def calibration_of(spec: BenchSpec) -> Calibration:
    def scale(counts_per_unit: float, unit: str) -> LinearScale:
        return LinearScale(
            counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="a test"
        )

    return Calibration(
        force=scale(spec.sensors.force_counts_per_newton, "N"),
        displacement=scale(spec.sensors.displacement_counts_per_mm, "mm"),
        compliance_mm_per_newton=spec.compliance_mm_per_newton,
        force_delay_us=spec.sensors.force_delay_samples * 1_000_000 // spec.sample_rate_hz,
    )


def judged(
    person: VirtualPerson, keyboard: str, spec: BenchSpec, *, judge: StrokeJudge | None = None
) -> list[StrokeVerdict]:
    """Let the person finish and return the verdicts."""
    bench, verdicts, number = Bench(spec, KEYBOARDS[keyboard], person), [], 0
    judge = judge or StrokeJudge(calibration_of(spec))
    block = spec.sample_rate_hz // 20
    while not person.idle or not number:
        samples = bench.make_samples(block, number * bench.sample_period_us, lambda *_: None)
        trace = RawTrace(
            np.arange(number, number + block),
            samples["tick_us"].astype(np.int64),
            samples["force_counts"].copy(),
            samples["displacement_counts"].copy(),
        )
        verdicts += judge.feed(trace)
        number += block
    return verdicts


STATIONS = [(name, station + beside) for name, faulty in FAULTY.items() for station in faulty for beside in (0, 3)]
SENSORS = (QUIET, DRIFTING_UP, DRIFTING_DOWN)


@pytest.mark.parametrize(("keyboard", "station"), STATIONS)
def test_every_manner_of_pressing_is_named(keyboard: str, station: int) -> None:
    random = np.random.default_rng([station, len(keyboard)])
    kinds: list[PressKind] = [PRESS_KINDS[at] for at in random.permutation(len(PRESS_KINDS))]
    person = VirtualPerson(station=station, seed=station)
    person.rest(0.5)
    for kind in kinds:
        person.press(kind)
    person.rest(0.5)

    spec = BenchSpec(sample_rate_hz=int(random.choice([100, 200, 500])), sensors=SENSORS[station % 3], seed=station)
    verdicts = judged(person, keyboard, spec)

    assert [verdict.word for verdict in verdicts] == [WORDS[kind] for kind in kinds]


@pytest.mark.parametrize("kind", PRESS_KINDS)
def test_ten_thousand_samples_a_second_are_judged_the_same(kind: PressKind) -> None:
    person = VirtualPerson(station=40, seed=7)
    person.rest(0.3)
    person.press(kind)
    person.rest(0.5)

    (verdict,) = judged(person, "moss", BenchSpec(sample_rate_hz=10_000, sensors=DRIFTING_UP))

    assert verdict.word == WORDS[kind]


def test_a_hand_that_lies_on_the_key_from_the_first_sample_is_found_out() -> None:
    person = VirtualPerson(station=40, seed=3)
    person.press("preloaded")
    person.rest(0.5)
    spec = BenchSpec(sample_rate_hz=500, sensors=DRIFTING_DOWN)
    bench, number, blocks = Bench(spec, KEYBOARDS["fern"], person), 0, []
    while not person.idle or not number:
        blocks.append(bench.make_samples(25, number * bench.sample_period_us, lambda *_: None))
        number += 25
    samples = np.concatenate(blocks)
    leaning = int(np.argmax(samples["force_counts"] - samples["force_counts"][:50].mean() > 2000)) + 250
    later = samples[leaning:]  # half a second after the key took 0.1 N, before it goes down

    verdicts = StrokeJudge(calibration_of(spec)).feed(
        RawTrace(
            np.arange(len(later)),
            later["tick_us"].astype(np.int64),
            later["force_counts"].copy(),
            later["displacement_counts"].copy(),
        )
    )

    assert [verdict.word for verdict in verdicts] == ["preloaded"]


def test_going_from_key_to_key_the_judge_needs_no_telling() -> None:
    person = VirtualPerson(station=40, seed=11)
    person.rest(0.5)
    for station in (40, 41, 44):
        person.move_to(station)
        person.press("good")
    person.rest(0.5)
    judge = StrokeJudge(calibration_of(BenchSpec(sample_rate_hz=200)))

    verdicts = judged(person, "moss", BenchSpec(sample_rate_hz=200), judge=judge)

    assert [verdict.word for verdict in verdicts] == ["good"] * 3
    assert judge.now.state is NowState.IN_THE_AIR
    assert judge.now.force_newton == pytest.approx(0.0, abs=0.02)


def test_depth_and_peak_are_those_of_the_key_under_the_hand() -> None:
    person = VirtualPerson(station=40, seed=5)
    person.rest(0.5)
    person.press("good")
    person.rest(0.5)

    (verdict,) = judged(person, "moss", BenchSpec())

    bed_mm = KEYBOARDS["moss"][39].action.bed.start_mm
    assert bed_mm < verdict.depth_mm < bed_mm + 0.8  # pressed into felt by 4 to 6 N
    assert 4.0 < verdict.peak_newton < 6.0
