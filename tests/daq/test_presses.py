"""The motor on a reference: touch, press, stroke, through a real pseudo-terminal to the virtual workbench."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from daq.calibration.presses import MotorPresser, PressSettings, prepare_motor
from daq.calibration.settled import read_settled
from daq.errors import NothingUnderPlunger, ProgrammeUnfit
from daq.recorder import Recorder
from daq.sitting import RigSitting
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from rig.virtual.workbench_file import load_workbench
from tests.daq.rigs import KEYS, SPEED, a_rig


@contextmanager
def at_a_bench() -> Iterator[tuple[RigSitting, VirtualRig]]:
    rig = VirtualRig(KEYS, RigSpec(watchdog_us=round(250_000 * SPEED)), None, load_workbench("tern_lane"))
    with a_rig(rig=rig) as port, RigSitting(port, Recorder(), patience_s=1.0) as sitting:
        prepare_motor(sitting)
        yield sitting, rig


def say(rig: VirtualRig, line: str) -> None:
    assert rig.workbench is not None
    answer = rig.workbench.obey(line)
    assert answer.startswith("ok"), answer


def newtons(sitting: RigSitting, counts: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
    return sitting.rig.calibration.force.physical(counts)


def test_a_press_goes_from_air_to_the_force_and_back_to_air_without_a_gap() -> None:
    with at_a_bench() as (sitting, rig):
        say(rig, "under stop")
        presser = MotorPresser(sitting)
        touch_mm = presser.touch("stop")
        press = presser.press()
        presser.home()

    force = newtons(sitting, press.trace.force_counts)
    assert touch_mm == pytest.approx(10.0, abs=0.2)
    assert (np.diff(press.trace.sample_number) == 1).all()
    assert 5.0 <= force.max() < 6.0
    assert np.ptp(force[:300]) < 0.05
    assert np.ptp(force[-300:]) < 0.05
    assert rig.bench.stage.plunger()[0] == pytest.approx(0.0, abs=0.05)  # out of the way of hands


def test_a_stroke_ends_at_its_depth() -> None:
    with at_a_bench() as (sitting, rig):
        say(rig, "under spring")
        presser = MotorPresser(sitting)
        touch_mm = presser.touch("spring")
        stroke = presser.stroke(3.0, 20.0)

    shown = stroke.trace.displacement_counts / 500.0
    assert shown.max() == pytest.approx(touch_mm + 3.0, abs=0.05)
    assert stroke.speed_mm_per_s == 20.0


def test_an_empty_table_is_told_and_the_plunger_is_up_again() -> None:
    with at_a_bench() as (sitting, rig):
        say(rig, "under nothing")
        with pytest.raises(NothingUnderPlunger, match="no stop under the plunger"):
            MotorPresser(sitting).touch("stop")
        assert rig.bench.stage.plunger()[0] == pytest.approx(0.0, abs=0.05)


def test_a_press_harder_than_the_cell_bears_is_refused_before_anything_moves() -> None:
    with at_a_bench() as (sitting, _), pytest.raises(ProgrammeUnfit, match="the cell ends at 20 N"):
        MotorPresser(sitting, PressSettings(to_newton=19.0))


def test_masses_that_were_laid_on_are_read_and_not_what_lay_there_before() -> None:
    with at_a_bench() as (sitting, rig):
        empty = read_settled(sitting)
        say(rig, "pan m200 m50")
        loaded = read_settled(sitting)

    shown = newtons(sitting, np.array([loaded.mean_counts]))[0] - newtons(sitting, np.array([empty.mean_counts]))[0]
    assert loaded.settled
    assert shown == pytest.approx(0.250 * 9.8126 * 1.0123, abs=0.01)  # the bench's cell shows 1.2 % too much
