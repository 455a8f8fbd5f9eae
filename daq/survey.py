"""A survey: the stroke programme for one key after the other, from an open port to a finished recording.

How it works: over each key the plunger approaches until it touches, backs off into the air, and makes its strokes; the
recorder makes every stroke safe as it ends. Whatever goes wrong, the last thing the rig hears is Stop.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from daq.errors import DaqError, NoKeyUnderPlunger
from daq.link import Link
from daq.port import open_port
from daq.programme import SlowStrokes
from daq.recorder import Recorder
from daq.session import RigIntroduction, Session
from recordings.keys import Key
from recordings.partial import PartialRecording
from recordings.types import Header, RunInfo
from recordings.writer import refuse_to_overwrite
from rig.protocol.messages import Cause, Status

UM = 0.001


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a survey is."""

    key: Key
    key_index: int
    """From 0."""
    key_count: int
    stroke: int
    """From 1; 0: approaching."""
    stroke_count: int
    seconds_left: float | None
    """None: too early to say."""


@dataclass(frozen=True, slots=True)
class SurveyResult:
    """What a survey has done."""

    path: Path
    recorded: tuple[Key, ...]
    missed: tuple[NoKeyUnderPlunger, ...]
    """Keys that the plunger did not find."""
    sample_count: int
    damage_count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPlan:
    """What to record and how."""

    keys: tuple[Key, ...]
    programme: SlowStrokes
    run: RunInfo


def run_survey(
    port_path: str,
    out: Path,
    plan: SurveyPlan,
    *,
    on_progress: Callable[[Progress], None],
    place_rig: Callable[[Key], None],
) -> SurveyResult:
    """Record every key of the plan to the file `out`.

    place_rig(key) is called before each key if the rig has no carriage: a person sets the rig over the key.
    Raises DaqError and its kinds, RecordingExists. What was finished before an error stays in the folder OUT.partial.
    """
    refuse_to_overwrite(out)
    recorder = Recorder()
    with Link(open_port(port_path), recorder.add) as link:
        session = Session(link)
        rig = session.greet()
        file = PartialRecording(out, Header(run=plan.run, rig=rig.info, calibration=rig.calibration))
        recorder.open(file)
        surveyor = _Surveyor(session, recorder, rig, plan, on_progress, place_rig)
        try:
            missed = surveyor.record_all()
        except BaseException:  # Ctrl-C included: the rig must stop whatever happened
            _stop_quietly(session)
            recorder.close()
            file.abandon()
            raise
    file.finish()
    lost = {absent.key_name for absent in missed}
    recorded = tuple(key for key in plan.keys if key.name not in lost)
    return SurveyResult(out, recorded, missed, recorder.sample_count, recorder.damage_count)


def _stop_quietly(session: Session) -> None:
    """Say Stop; if the cable is gone, the rig's own watchdog does it, and the first error is the one to tell."""
    try:
        session.stop()
    except DaqError:
        return


class _Surveyor:
    """The strokes, key by key."""

    def __init__(
        self,
        session: Session,
        recorder: Recorder,
        rig: RigIntroduction,
        plan: SurveyPlan,
        on_progress: Callable[[Progress], None],
        place_rig: Callable[[Key], None],
    ) -> None:
        self._session, self._recorder, self._rig, self._plan = session, recorder, rig, plan
        self._on_progress, self._place_rig = on_progress, place_rig
        self._started_s = time.monotonic()

    def record_all(self) -> tuple[NoKeyUnderPlunger, ...]:
        """Record every key and return the ones that were not found."""
        missed = []
        self._session.start_stream()
        self._home()
        for index, key in enumerate(self._plan.keys):
            try:
                self._record(key, index)
            except NoKeyUnderPlunger as absent:
                self._recorder.end_key("no key found")
                self._home()
                missed.append(absent)
        self._session.stop_stream()
        return tuple(missed)

    def _record(self, key: Key, index: int) -> None:
        programme = self._plan.programme
        self._report(key, index, 0)
        if self._rig.has_carriage:
            self._session.move_carriage(key.number)
        else:
            self._place_rig(key)
        self._recorder.begin_key(key)
        zero_newton = self._rest_and_read_zero()
        start_mm = self._approach(key, zero_newton)
        for stroke in range(1, programme.strokes + 1):
            self._report(key, index, stroke)
            self._session.rest(programme.rest_s)
            self._go(self._rig.travel_mm[1], programme.speed_mm_per_s, zero_newton + programme.force_limit_newton)
            self._go(start_mm, programme.speed_mm_per_s, self._rig.force_range_newton)
            self._recorder.end_stretch(f"stroke {stroke}")
        self._session.rest(programme.rest_s)
        self._home()
        self._recorder.end_key("return")

    def _rest_and_read_zero(self) -> float:
        """Return what the cell shows in the air, in N: force limits are reckoned from there."""
        self._recorder.force_counts_since_last_call()
        self._session.rest(self._plan.programme.rest_s)
        scale = self._rig.calibration.force
        counts = self._recorder.force_counts_since_last_call()
        return float((np.mean(counts) - scale.zero_counts) / scale.counts_per_unit) if len(counts) else 0.0

    def _approach(self, key: Key, zero_newton: float) -> float:
        """Touch the key, back off, and return where the strokes start, in mm."""
        programme, deepest_mm = self._plan.programme, self._rig.travel_mm[1]
        status = self._go(deepest_mm, programme.approach_mm_per_s, zero_newton + programme.touch_newton)
        if status.cause != Cause.FORCE_LIMIT:
            raise NoKeyUnderPlunger(key.name, deepest_mm)
        start_mm = max(status.position * UM - programme.clearance_mm, self._rig.travel_mm[0])
        self._go(start_mm, programme.approach_mm_per_s, self._rig.force_range_newton)
        return start_mm

    def _home(self) -> None:
        self._go(self._plan.programme.home_mm, self._plan.programme.approach_mm_per_s, self._rig.force_range_newton)

    def _go(self, to_mm: float, speed_mm_per_s: float, force_limit_newton: float) -> Status:
        return self._session.move_plunger(
            to_mm,
            speed_mm_per_s=speed_mm_per_s,
            acceleration_mm_per_s2=self._plan.programme.acceleration_mm_per_s2,
            force_limit_newton=min(force_limit_newton, self._rig.force_range_newton),
        )

    def _report(self, key: Key, index: int, stroke: int) -> None:
        count, strokes = len(self._plan.keys), self._plan.programme.strokes
        done = (index + stroke / (strokes + 1)) / count
        passed_s = time.monotonic() - self._started_s
        left_s = passed_s * (1 - done) / done if index >= 1 else None
        self._on_progress(Progress(key, index, count, stroke, strokes, left_s))
