"""Builders for tests at the cable: a virtual rig served in a thread behind a real pseudo-terminal, and plans for it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from daq.plan import plan_visits
from daq.programme import Programme, Step, Strokes
from daq.survey import SurveyPlan, SurveyResult, Where, resume_survey, run_survey
from daq.talk import Progress, Talk
from recordings.keys import Key, parse_keys
from recordings.types import RunInfo
from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.serve import open_wire, serve
from rig.virtual.virtual_rig import RigSpec, VirtualRig

KEYS = keyboard_of(load_scenario("fern"))
SPEED = 100.0
RUN = RunInfo(instrument="fern", started_at=datetime(2026, 3, 1, tzinfo=UTC), software_version="0", programme="a test")


def a_programme(*steps: Step) -> Programme:
    """One quick stroke, unless told otherwise."""
    one = Strokes(do="strokes", count=1, speed_mm_per_s=5.0, rest_s=0.1)
    return Programme(name="test", summary="for a test", steps=steps or (one,))


ONE_STROKE = a_programme()


@contextmanager
def a_rig(
    tcp_port: int | None = None,
    *,
    stop: threading.Event | None = None,
    keys: tuple[KeySpec, ...] = KEYS,
    rig: VirtualRig | None = None,
    speed: float = SPEED,
) -> Iterator[str]:
    """Serve a virtual rig in a thread and give its port."""
    stop = stop or threading.Event()
    rig = rig or a_virtual_rig(keys, speed=speed)
    with open_wire(tcp_port) as wire:
        served = threading.Thread(target=serve, args=(wire, rig), kwargs={"speed": speed, "until": stop.is_set})
        served.start()
        try:
            yield wire.path
        finally:
            stop.set()
            served.join()


def a_virtual_rig(keys: tuple[KeySpec, ...] = KEYS, *, speed: float = SPEED) -> VirtualRig:
    """Make a rig whose watchdog waits for 250 ms of the host's time."""
    return VirtualRig(keys, RigSpec(watchdog_us=round(250_000 * speed)))


def a_plan(keys: str = "C4", programme: Programme = ONE_STROKE) -> SurveyPlan:
    """Plan one programme for some keys."""
    return SurveyPlan(visits=plan_visits(((parse_keys(keys), programme),)), run=RUN)


def never_placed(key: Key) -> None:
    """Stand for a person who is not needed: the rig has a carriage."""
    raise AssertionError(f"the rig has a carriage and needs nobody to place it over {key.name}")


def silent_talk(on_progress: Callable[[Progress], None] = lambda _: None) -> Talk:
    """Talk to nobody."""
    return Talk(progress=on_progress, place_rig=never_placed, tell=lambda _: None)


def survey(
    port: str, out: Path, plan: SurveyPlan | None = None, on_progress: Callable[[Progress], None] = lambda _: None
) -> SurveyResult:
    """Record a plan, by default one stroke on C4."""
    return run_survey(Where(port_path=port, out=out, patience_s=0.5), plan or a_plan(), silent_talk(on_progress))


def resume(port: str, out: Path, on_progress: Callable[[Progress], None] = lambda _: None) -> SurveyResult:
    """Go on with an interrupted survey."""
    return resume_survey(Where(port_path=port, out=out, patience_s=0.5), silent_talk(on_progress))
