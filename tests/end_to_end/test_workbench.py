"""A workbench as its operator plays it: lines to a program of its own, samples through a real pseudo-terminal."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from daq.link import Link
from daq.port import open_port
from daq.session import Session
from recordings.types import Damage, RawEvents, RawTrace
from rig.virtual.workbench_file import WorkbenchSpec, load_workbench
from tests.end_to_end.test_demo import KEYPLUMB

SPEED = 20


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
    assert (loaded - empty) / 20000.0 == pytest.approx(shown_newton(truth, load), abs=0.0012)  # drift, creep, noise
    assert told["newton_per_count"] * (loaded - empty) + told["newton_per_count2"] * (
        loaded - empty
    ) ** 2 == pytest.approx(load, abs=0.0012)
    assert abs(still_loaded - loaded) < 0.0012 * 20000.0
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
    pressed_mm = np.interp(4.0, np.sort(newton), np.sort(seen.displacement_counts)) / 500.0
    assert pressed_mm == pytest.approx(10.0, abs=0.2)  # where the stop stands, and what the frame gives


def test_without_a_workbench_nothing_is_read_from_the_standard_input() -> None:
    """What is typed stays where it is: the starter of a rig may want to read it itself."""
    import os

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
