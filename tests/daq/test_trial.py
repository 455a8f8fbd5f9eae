"""A trial through a real pseudo-terminal: a good virtual rig, and rigs that are spoiled in one way each."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.errors import PortNotFound, RigSilent, StoppedForSafety
from daq.trial import TrialPlan, run_trial
from processing.fitness.assess import assess
from processing.fitness.judgement import Fitness
from recordings.trial import AirMove, Touch, Trial, Untried
from rig.protocol.frames import Frame
from rig.protocol.messages import Hello, Home, Message, Move, Refusal, Stop, Swing
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.sensors import Sensors, SensorSpec
from rig.virtual.serve import open_wire, serve
from rig.virtual.virtual_rig import RigSpec, VirtualRig

KEYS = keyboard_of(load_scenario("fern"))
SPEED = 50.0
PLAN = TrialPlan(rest_s=5.0)
STILL = replace(PLAN, moves=False)


def a_spec(**sensors: float) -> RigSpec:
    return RigSpec(watchdog_us=round(250_000 * SPEED), bench=BenchSpec(sensors=SensorSpec(**sensors)))  # type: ignore[arg-type]


def a_virtual_rig(keys: tuple[KeySpec, ...] = KEYS, **sensors: float) -> VirtualRig:
    return VirtualRig(keys, a_spec(**sensors))


class SpoiledSensors(Sensors):
    """Sensors of which a test has turned a sign or pulled a plug."""

    force_sign, place_sign, dead = 1.0, 1.0, False

    def delayed(self, force_newton: float) -> float:
        return self.force_sign * super().delayed(force_newton)

    def force_counts(self, measured_newton: NDArray[np.float64]) -> NDArray[np.int32]:
        return super().force_counts(np.zeros_like(measured_newton) if self.dead else measured_newton)

    def displacement_counts(self, plunger_mm: NDArray[np.float64]) -> NDArray[np.int32]:
        return super().displacement_counts(self.place_sign * plunger_mm)


def a_spoiled_rig(*, force_sign: float = 1.0, place_sign: float = 1.0, dead: bool = False) -> VirtualRig:
    rig = a_virtual_rig()
    spoiled = SpoiledSensors(rig.spec.bench.sensors, sample_rate_hz=rig.spec.bench.sample_rate_hz, seed=1)
    spoiled.force_sign, spoiled.place_sign, spoiled.dead = force_sign, place_sign, dead
    rig.bench.sensors = spoiled
    return rig


class RigThatIgnoresItsLimit(VirtualRig):
    """Its firmware never looks at the force."""

    def _begin_move(self, command: Home | Swing | Move) -> Refusal | None:
        refusal = super()._begin_move(command)
        self.bench.force_limit_newton = 1e9
        return refusal


class RigWithoutMotor(VirtualRig):
    """A frame in which a hand presses."""

    def _say(self, message: Message) -> None:
        super()._say(replace(message, axis_count=0) if isinstance(message, Hello) else message)


class RigThatKeepsALog(VirtualRig):
    """Remembers what it was told."""

    def __init__(self, keys: tuple[KeySpec, ...], spec: RigSpec) -> None:
        super().__init__(keys, spec)
        self.told: list[Message] = []
        self.stopped = threading.Event()

    def _obey(self, frame: Frame) -> None:
        self.told.append(frame.message)
        super()._obey(frame)
        if isinstance(frame.message, Stop):
            self.stopped.set()


@contextmanager
def served(rig: VirtualRig, stop: threading.Event | None = None) -> Iterator[str]:
    """Serve a virtual rig in a thread and give its port."""
    stop = stop or threading.Event()
    with open_wire(None) as wire:
        thread = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": SPEED, "until": stop.is_set})
        thread.start()
        try:
            yield wire.path
        finally:
            stop.set()
            thread.join()


def silently(_: str) -> None:
    pass


def tried(rig: VirtualRig, plan: TrialPlan = PLAN) -> Trial:
    with served(rig) as port:
        return run_trial(port, plan, on_step=silently)


def verdicts(fitness: Fitness) -> dict[str, str]:
    return {result.item.name: result.judgement.verdict for result in fitness.items}


def value(fitness: Fitness, item: str, name: str) -> float:
    return next(each.value for each in fitness[item].values if each.name == name)


def test_a_good_rig_is_fit_and_its_numbers_are_those_it_was_made_with() -> None:
    fitness = assess(tried(a_virtual_rig(drift_walk_newton=2e-6)))

    assert fitness.overall == "fit"
    assert set(verdicts(fitness).values()) == {"fit"}
    assert value(fitness, "noise", "standard_deviation") == pytest.approx(0.003, rel=0.03)
    assert value(fitness, "noise_density", "density") == pytest.approx(0.003 * np.sqrt(2e-3), rel=0.1)
    assert value(fitness, "mains_hum", "amplitude") == pytest.approx(0.0015, abs=0.0003)
    assert value(fitness, "mains_hum", "frequency") == pytest.approx(50.0, abs=0.05)
    assert value(fitness, "zero", "zero") == pytest.approx(0.05, abs=0.01)
    assert value(fitness, "encoder", "shown") == pytest.approx(2.0, abs=0.003)


def test_the_rest_lasts_as_long_as_asked_in_rig_time_and_the_plunger_comes_home() -> None:
    rig = a_virtual_rig()
    trial = tried(rig)

    assert (trial.rest.tick_us[-1] - trial.rest.tick_us[0]) * 1e-6 == pytest.approx(5.0, abs=0.5)
    assert np.ptp(trial.rest.displacement_counts) < 8
    assert not rig.bench.stage.moving
    assert rig.bench.stage.screw_mm == 0.0
    assert all((np.diff(trace.sample_number) == 1).all() for trace in trial.traces())


def test_a_still_trial_sends_no_move() -> None:
    rig = RigThatKeepsALog(KEYS, a_spec())
    fitness = assess(tried(rig, STILL))

    assert not [message for message in rig.told if isinstance(message, Move | Home | Swing)]
    assert fitness.overall == "cannot tell"
    assert "--still" in fitness["polarity"].advice


def test_big_hum_is_unfit_and_told_apart_from_noise() -> None:
    fitness = assess(tried(a_virtual_rig(hum_newton=0.04, hum_hz=60.0)))

    assert fitness.overall == "unfit"
    assert fitness["mains_hum"].verdict == "unfit"
    assert value(fitness, "mains_hum", "amplitude") == pytest.approx(0.04, rel=0.05)
    assert fitness["noise"].verdict == "fit"


def test_a_noisy_cell_is_unfit() -> None:
    fitness = assess(tried(a_virtual_rig(force_noise_newton=0.02), STILL))

    assert fitness["noise"].verdict == "unfit"
    assert value(fitness, "noise", "standard_deviation") == pytest.approx(0.02, rel=0.05)


def test_a_fast_drift_is_unfit() -> None:
    fitness = assess(tried(a_virtual_rig(drift_newton_per_s=0.003, drift_walk_newton=2e-6), STILL))

    assert fitness["drift"].verdict == "unfit"
    assert value(fitness, "drift", "slope") == pytest.approx(0.18, abs=0.015)


def test_a_cell_with_the_wrong_sign_is_found_before_the_key_is_pressed_down() -> None:
    rig = a_spoiled_rig(force_sign=-1.0)
    trial = tried(rig)
    fitness = assess(trial)
    deepest_mm = max(trace.displacement_counts.max() for trace in trial.traces()) / 500.0

    assert fitness["polarity"].verdict == "unfit"
    assert fitness["force_limit"].verdict == "not tried"
    assert deepest_mm < KEYS[0].surface_mm + PLAN.step_mm + 0.1
    assert rig.bench.stage.screw_mm == 0.0


def test_a_gauge_that_runs_backwards_is_found_and_nothing_is_touched() -> None:
    trial = tried(a_spoiled_rig(place_sign=-1.0))
    fitness = assess(trial)

    assert fitness["encoder"].verdict == "unfit"
    assert isinstance(trial.touch, Untried)
    assert "told to go down 2.00 mm" in trial.touch.why
    assert fitness["polarity"].verdict == "not tried"
    assert fitness.overall == "unfit"


def test_a_dead_cell_is_found_and_nothing_moves() -> None:
    rig = a_spoiled_rig(dead=True)
    trial = tried(rig)

    assert assess(trial)["force_alive"].verdict == "unfit"
    assert isinstance(trial.air, Untried)
    assert np.ptp(trial.rest.displacement_counts) < 8


def test_a_rig_that_ignores_its_limit_is_found_within_a_millimetre() -> None:
    trial = tried(RigThatIgnoresItsLimit(KEYS, a_spec()))
    fitness = assess(trial)
    deepest_mm = max(trace.displacement_counts.max() for trace in trial.traces()) / 500.0

    assert fitness["polarity"].verdict == "fit"
    assert fitness["force_limit"].verdict == "unfit"
    assert deepest_mm < KEYS[0].surface_mm + PLAN.step_mm + PLAN.past_touch_mm + 0.1


def test_a_rig_without_a_motor_is_told_how_to_try_signs_by_hand() -> None:
    fitness = assess(tried(RigWithoutMotor(KEYS, a_spec())))

    assert fitness["polarity"].verdict == fitness["encoder"].verdict == "not tried"
    assert "known weight" in fitness["polarity"].advice
    assert fitness.overall == "cannot tell"


def test_nothing_under_the_plunger_leaves_the_touch_untried() -> None:
    lifted = tuple(replace(key, surface_mm=60.0) for key in KEYS)
    trial = tried(a_virtual_rig(lifted))

    assert isinstance(trial.air, AirMove)
    assert isinstance(trial.touch, Untried)
    assert "touched nothing" in trial.touch.why


def test_a_key_too_near_the_top_stops_the_way_in_the_air() -> None:
    near = tuple(replace(key, surface_mm=1.0) for key in KEYS)
    trial = tried(a_virtual_rig(near))

    assert isinstance(trial.air, Untried)
    assert "mm below its top" in trial.air.why
    assert "raise the rig" in trial.air.how


def test_whoever_interrupts_a_trial_stops_the_rig() -> None:
    rig = RigThatKeepsALog(KEYS, a_spec())

    def interrupt(step: str) -> None:
        if step.startswith("touching"):
            raise KeyboardInterrupt

    with served(rig) as port:
        with pytest.raises(KeyboardInterrupt):
            run_trial(port, PLAN, on_step=interrupt)
        assert rig.stopped.wait(timeout=10.0)

    assert not rig.bench.stage.moving


def test_a_rig_that_falls_silent_ends_the_trial() -> None:
    stop = threading.Event()

    def silence(step: str) -> None:
        if step.startswith("going down"):
            stop.set()

    with served(a_virtual_rig(), stop) as port, pytest.raises(RigSilent):
        run_trial(port, PLAN, on_step=silence)


def test_a_port_that_is_not_there_says_so() -> None:
    with pytest.raises(PortNotFound):
        run_trial("/dev/none", PLAN, on_step=silently)


def test_a_touch_holds_the_step_that_met_the_key_and_the_approach_after_it() -> None:
    trial = tried(a_virtual_rig())

    assert isinstance(trial.touch, Touch)
    assert trial.touch.on_key.tick_us[0] > trial.touch.in_air.tick_us[-1]
    assert trial.touch.approach.trace.tick_us[0] > trial.touch.on_key.tick_us[-1]  # type: ignore[union-attr]


def test_a_rig_that_ignores_its_limit_over_something_hard_is_stopped_by_the_host() -> None:
    """The limit is 0.15 N above a zero of 0.05 N; 4 N beyond it the host's own guard says Stop."""
    hard = tuple(
        replace(key, action=replace(key.action, bed=replace(key.action.bed, start_mm=0.1, stiffness=200.0)))
        for key in KEYS
    )
    rig = RigThatIgnoresItsLimit(hard, a_spec())

    with served(rig) as port, pytest.raises(StoppedForSafety, match="the force passed"):
        run_trial(port, PLAN, on_step=silently)
