"""A workbench as its operator plays it: lines to a program of its own, samples through a real pseudo-terminal."""

from __future__ import annotations

import json
import os
import subprocess
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.link import Link
from daq.port import open_port
from daq.session import Session
from processing.calibrate import recalibrated
from processing.pipeline import analyse
from recordings.calibration_record import (
    CalibrationRecord,
    Compliance,
    CompliancePoint,
    DisplacementCalibration,
    ForceCalibration,
    Skew,
)
from recordings.reader import read_recording
from recordings.types import Damage, RawEvents, RawTrace
from rig.virtual.bench import BenchSpec
from rig.virtual.truths import true_features, workbench_truths
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from rig.virtual.workbench_file import WorkbenchSpec, load_workbench
from tests.builders import WHOLE_RECORD, a_polynomial
from tests.daq.rigs import KEYS, a_plan, a_rig, load_slow, survey
from tests.end_to_end.test_demo import KEYPLUMB

SPEED = 20
WANDER_NEWTON = 0.003
"""Five standard deviations of the zero's random walk, 10 uN a sample, over four seconds."""


@contextmanager
def a_rig_with_an_operator(*words: str) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """Run `keyplumb virtual-rig --workbench tern_lane`; give its port and the program."""
    command = [*KEYPLUMB, "virtual-rig", "--workbench", "tern_lane", "--speed", str(SPEED), *words]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True, bufsize=1) as rig:
        assert rig.stdout is not None
        assert rig.stderr is not None
        try:
            port = rig.stdout.readline().strip()
            assert "virtual rig with" in rig.stderr.readline()
            assert "say pan, touch, drift, under, press or stroke" in rig.stderr.readline()
            yield port, rig
        finally:
            rig.terminate()


def say(rig: subprocess.Popen[str], line: str) -> str:
    assert rig.stdin is not None
    assert rig.stderr is not None
    rig.stdin.write(line + "\n")
    return rig.stderr.readline().strip()


class Hearing:
    """A host that keeps every sample."""

    def __init__(self, link: Link) -> None:
        self.session = Session(link)
        self.heard: list[RawTrace] = []
        self.session.greet()
        self.session.start_stream()

    def during(self, rig_seconds: float) -> RawTrace:
        """Return the samples of some time from now on."""
        self.heard.clear()
        self.session.rest(rig_seconds)
        return RawTrace(
            *(
                np.concatenate([getattr(trace, name) for trace in self.heard])
                for name in ("sample_number", "tick_us", "force_counts", "displacement_counts")
            )
        )


@contextmanager
def hearing(port: str) -> Iterator[Hearing]:
    kept: list[RawTrace] = []

    def keep(news: RawTrace | RawEvents | Damage) -> None:
        assert not isinstance(news, Damage)
        if isinstance(news, RawTrace):
            kept.append(news)

    with Link(open_port(port), keep) as link:
        host = Hearing(link)
        host.heard = kept
        yield host
        host.session.stop_stream()


def shown_newton(truth: WorkbenchSpec, force_newton: float) -> float:
    """Return what the cell shows, in nominal newtons: v (1 + e) + q v^2 = F, less hysteresis, noise and creep."""
    roots = np.roots([truth.force.quadratic_per_newton, 1.0 + truth.force.scale_error, -force_newton])
    return float(roots[np.argmin(np.abs(roots))])


def test_masses_that_the_operator_lays_on_change_the_counts_as_their_truths_say(tmp_path: Path) -> None:
    truth, side_file = load_workbench("tern_lane"), tmp_path / "t.json"
    with (
        a_rig_with_an_operator("--truths", str(side_file)) as (port, rig),
        hearing(port) as host,
    ):
        empty = host.during(2.0).force_counts.mean()
        assert say(rig, "pan m200 m50") == "ok on the pan: m200, m50"
        host.session.rest(1.0)
        loaded = host.during(2.0).force_counts.mean()
        refused = say(rig, "pan m77")
        assert rig.stdin is not None
        rig.stdin.close()  # an operator who goes home
        still_loaded = host.during(2.0).force_counts.mean()
        lives_on = rig.poll() is None

    load = truth.pan_newton(["m200", "m50"])
    told = json.loads(side_file.read_text())["workbench"]["force"]
    assert load == pytest.approx(0.250006 * truth.gravity_m_per_s2 * (1 - 1.2 / 8000), rel=2e-6)  # near 1.2 kg/m3
    assert (loaded - empty) / 20000.0 == pytest.approx(shown_newton(truth, load), abs=WANDER_NEWTON)
    assert told["newton_per_count"] * (loaded - empty) + told["newton_per_count2"] * (
        loaded - empty
    ) ** 2 == pytest.approx(load, abs=WANDER_NEWTON)
    assert abs(still_loaded - loaded) < WANDER_NEWTON * 20000.0
    assert refused.startswith("no: there is no mass 'm77'; there are m5, m10")
    assert lives_on


def test_a_person_at_a_rig_without_a_motor_presses_the_stop_when_told_to() -> None:
    with (
        a_rig_with_an_operator("--hand") as (port, rig),
        hearing(port) as host,
    ):
        assert say(rig, "under stop") == "ok under the plunger: stop"
        assert say(rig, "press") == "ok presses on: stop"
        seen = host.during(12.0)

    newton = (seen.force_counts - seen.force_counts[:200].mean()) / 20000.0
    assert 4.9 < newton.max() < 6.0
    pressed = newton > 4.0
    truth = load_workbench("tern_lane")
    give_mm = truth.true_frame().give_mm(float(newton[pressed].mean()))
    true_mm = seen.displacement_counts[pressed].mean() / 500.0 * (1.0 + truth.displacement.scale_error)
    assert true_mm == pytest.approx(truth.stop.surface_mm + give_mm, abs=0.01)  # half of the play is 0.003


def test_without_a_workbench_nothing_is_read_from_the_standard_input() -> None:
    """What is typed stays where it is: the starter of a rig may want to read it itself."""
    end, other_end = os.pipe()
    os.write(other_end, b"pan m20\n")
    command = [*KEYPLUMB, "virtual-rig", "--speed", str(SPEED)]
    with subprocess.Popen(command, stdin=end, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as rig:
        assert rig.stdout is not None
        assert rig.stderr is not None
        with hearing(rig.stdout.readline().strip()) as host:
            host.during(1.0)
        rig.terminate()
        said = rig.stderr.read()

    assert os.read(end, 100) == b"pan m20\n"
    assert "ok" not in said.split()
    os.close(end)
    os.close(other_end)


def true_record(truth: WorkbenchSpec) -> CalibrationRecord:
    """Return the record that a calibration without any error would write."""
    told = workbench_truths(truth, BenchSpec())
    force, displacement, give = told["force"], told["displacement"], told["compliance"]
    parabola = a_polynomial(
        0.0,
        force["newton_per_count"],
        force["newton_per_count2"],
        reference=force["zero_counts"],
        reach=(-4e5, 4e5),
    )
    points = zip(give["newton"], give["mm"], strict=True)
    return replace(
        WHOLE_RECORD,
        force=ForceCalibration(polynomial=parabola),
        displacement=DisplacementCalibration(polynomial=a_polynomial(0.0, displacement["mm_per_count"])),
        compliance=Compliance(points=tuple(CompliancePoint(newton=f, mm=mm, u_mm=0.0) for f, mm in points)),
        skew=Skew(us=told["force_delay_us"], u_us=0.0),
    )


LIMITS = {"down_weight": 0.005, "up_weight": 0.005, "key_dip": 0.03, "bed_contact": 0.03}
"""In N and mm: half a gram-force, and 0.03 mm, as for the demo without a workbench (a soft let-off scatters more)."""


def test_a_survey_on_that_bench_is_wrong_as_stated_and_right_by_its_truths(tmp_path: Path) -> None:
    truth = load_workbench("tern_lane")
    rig = VirtualRig(KEYS, RigSpec(watchdog_us=25_000_000), None, truth)
    with a_rig(rig=rig) as port:
        survey(port, tmp_path / "r.h5", a_plan("C4..E4", load_slow()))
    recording = read_recording(tmp_path / "r.h5")
    headers = {"as stated": recording.header, "by its truths": recalibrated(recording.header, true_record(truth))}

    errors: dict[tuple[str, str], list[float]] = defaultdict(list)
    for way, header in headers.items():
        for result in analyse(header, recording.keys).keys:
            told = true_features(KEYS[result.key.number - 1])
            for name in LIMITS:
                value = next(found.value for found in result.measurements if found.name == name)
                assert value is not None
                errors[way, name].append(value - (told[name] or 0.0))

    for name, limit in LIMITS.items():
        by_truths, stated = np.array(errors["by its truths", name]), np.array(errors["as stated", name])
        assert np.abs(by_truths).max() < limit
        assert abs(by_truths.mean()) < 0.5 * abs(stated.mean()), name
