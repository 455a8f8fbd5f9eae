"""A survey: one key after the other, from an open port to a finished recording; by motor or by hand.

How it works: a worker (`motor.py`, `by_hand.py`) records one key at a time; the recorder makes every stroke safe as it
ends. If the cable is pulled or the rig restarts, the attempt at the key in hand is set aside and begun again when the
rig is back. The newest valid record of the rig in the folder `calibrations/` beside the recording is copied into it;
while recording, the scales that the rig states are used. Whatever goes wrong, the last thing the rig hears is Stop, and
what was finished can be gone on with.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from daq.by_hand import HandWorker
from daq.errors import CABLE_TROUBLE, ProgrammeUnfit
from daq.motor import MotorWorker
from daq.plan import Visit, visits_as_json, visits_from_json
from daq.recorder import Recorder
from daq.sitting import LineSitting, RigSitting, Sitting
from daq.talk import HandTalk, Progress, Talk, Watch
from recordings.calibration_file import FOLDER
from recordings.calibration_folder import choose_calibration
from recordings.errors import MalformedRecording
from recordings.keys import Key
from recordings.partial import PartialRecording, begin_recording, interrupted_diary, resume_recording
from recordings.types import DiaryEntry, Header, RunInfo
from recordings.writer import refuse_to_overwrite
from rig.profiles.profile import Profile

MOST_ATTEMPTS = 10
"""At one key; more is a cable that has to be mended first."""

Worker = MotorWorker | HandWorker


@dataclass(frozen=True, slots=True)
class SurveyResult:
    """What a survey has done."""

    path: Path
    recorded: tuple[Key, ...]
    missed: tuple[Key, ...]
    """Keys that the plunger did not find."""
    skipped: tuple[Key, ...]
    sample_count: int
    """Recorded in this sitting."""
    samples_heard: int
    samples_lost: int
    """On the cable in this sitting, between keys too: together what the rig has sent."""
    damage_count: int
    """Reports of damage, of whatever kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPlan:
    """What to record."""

    visits: tuple[Visit, ...]
    run: RunInfo
    check: tuple[str, str] | None = None
    """The verdict of a check of the rig just before, in words and as JSON, for the diary."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Which rig, which file, and how patiently."""

    port_path: str
    out: Path
    profile: Profile | None = None
    """Of a rig that only prints lines; None: the rig speaks the protocol."""
    midi: str | None = None
    """A MIDI port of the host to listen to; None: notes come by the rig, if at all."""
    patience_s: float = 60.0
    """How long to wait for a rig that was lost."""


def run_survey(where: Where, plan: SurveyPlan, talk: Talk | HandTalk, watch: Watch | None = None) -> SurveyResult:
    """Record every key of the plan to the file `where.out`: by motor, or by hand if the talk is with a person's hand.

    watch: who looks at every key when it is recorded, and may say that it is enough; None: nobody does.
    Raises DaqError and its kinds, RecordingExists, CannotWrite. What was finished before an error stays in the folder
    OUT.partial, for `resume_survey`.
    """
    refuse_to_overwrite(where.out)
    recorder = Recorder()
    with _sitting(where, recorder) as sitting:
        worker = _worker(sitting, talk)
        worker.refuse_unfit(plan.visits)
        chosen = choose_calibration(where.out.absolute().parent / FOLDER, sitting.rig.info, plan.run.started_at)
        talk.tell(chosen.told)
        calibration = replace(sitting.rig.calibration, record=chosen.record)
        header = Header(run=plan.run, rig=sitting.rig.info, calibration=calibration)
        file = begin_recording(where.out, header)
        with _kept(file, recorder, sitting):
            by_hand = isinstance(talk, HandTalk)
            recorder.write_diary("plan", plan.run.programme, visits_as_json(plan.visits, by_hand=by_hand))
            recorder.write_diary("calibration", chosen.told)
            if plan.check is not None:
                recorder.write_diary("check", *plan.check)
            _Round(worker, sitting, file, talk, watch).make(plan.visits)
    return _result(plan.visits, file, sitting)


def resume_survey(where: Where, talk: Talk | HandTalk) -> SurveyResult:
    """Go on with an interrupted survey where it stood, by the plan it was begun with.

    Raises as run_survey; NoSuchFile if there is none, WrongRig if it was begun with another rig.
    """
    recorder = Recorder()
    file = resume_recording(where.out)
    with ExitStack() as stack:
        try:
            visits, _ = _plan_in(file.diary, where.out)
            sitting = _sitting(where, recorder)
            stack.enter_context(sitting)
        except BaseException:
            file.abandon()
            raise
        with _kept(file, recorder, sitting):
            sitting.expect(file.header.rig)
            file.set_interrupted_aside()
            recorder.write_diary("resumed", f"{len(file.done)} of {len(visits)} keys were done")
            _Round(_worker(sitting, talk), sitting, file, talk).make(visits)
    return _result(visits, file, sitting)


def _sitting(where: Where, recorder: Recorder) -> RigSitting | LineSitting:
    if where.profile is not None:
        return LineSitting(where.port_path, recorder, where.profile, patience_s=where.patience_s, midi=where.midi)
    return RigSitting(where.port_path, recorder, patience_s=where.patience_s, midi=where.midi)


def _worker(sitting: RigSitting | LineSitting, talk: Talk | HandTalk) -> Worker:
    if isinstance(talk, HandTalk):
        return HandWorker(sitting, talk)
    if isinstance(sitting, LineSitting):
        raise ProgrammeUnfit("by motor", "it only prints lines and cannot be told to move; record by hand")
    return MotorWorker(sitting, talk)


def interrupted_by_hand(out: Path) -> bool:
    """Tell whether the interrupted survey of a recording was by hand.

    Raises NoSuchFile if there is none, MalformedRecording if it was interrupted before its plan was kept.
    """
    return _plan_in(interrupted_diary(out), out)[1]


def _plan_in(diary: tuple[DiaryEntry, ...], out: Path) -> tuple[tuple[Visit, ...], bool]:
    plan = next((entry for entry in diary if entry.kind == "plan"), None)
    if plan is None:
        raise MalformedRecording(str(out), "it was interrupted before its plan was kept; use `keyplumb repair`")
    return visits_from_json(plan.facts)


@contextmanager
def _kept(file: PartialRecording, recorder: Recorder, sitting: Sitting) -> Iterator[None]:
    """Finish the recording when the block ends well; otherwise stop the rig first and leave what there is."""
    try:
        recorder.open(file)
        yield
        sitting.write_clock()
        recorder.write_diary("finished", f"{len(file.done)} keys")
    except BaseException:  # Ctrl-C included: the rig must stop whatever happened
        sitting.stop()
        recorder.close()
        file.abandon()
        raise
    recorder.close()
    file.finish()


class _Round:
    """The visits of one sitting, one after the other, over whatever happens to the cable."""

    def __init__(
        self,
        worker: Worker,
        sitting: Sitting,
        file: PartialRecording,
        talk: Talk | HandTalk,
        watch: Watch | None = None,
    ) -> None:
        self._worker, self._sitting, self._file, self._talk, self._watch = worker, sitting, file, talk, watch

    def make(self, visits: tuple[Visit, ...]) -> None:
        """Record every key that is not done yet, or until who watches has seen enough."""
        clock = _Clock(visits, self._file, self._talk)
        self._over_cable_trouble(self._worker.prepare, come_back=False)
        for index, visit in enumerate(visits):
            if visit.key not in self._file.done:
                self._over_cable_trouble(partial(self._worker.record, visit, clock.sayer(index)))
                if self._watched_enough(visit.key, len(visits)):
                    break
        self._over_cable_trouble(self._worker.finish)

    def _watched_enough(self, key: Key, wanted: int) -> bool:
        if self._watch is None:
            return False
        if self._file.done.get(key) == "recorded":
            self._watch.key_done(self._file.header, self._file.newest(key))
        why = self._watch.enough()
        if why is None or len(self._file.done) == wanted:
            return False
        self._file.stopped_early = True
        text = f"stopped early, {len(self._file.done)} of {wanted} keys done: {why}"
        self._sitting.recorder.write_diary("stopped", text)
        self._talk.tell(text)
        return True

    def _over_cable_trouble(self, work: Callable[[], None], *, come_back: bool = True) -> None:
        """Do something, and again when the cable or the rig has failed meanwhile; what there was is set aside."""
        for attempt in range(1, MOST_ATTEMPTS + 1):
            try:
                if attempt > 1 and come_back:
                    self._worker.prepare()
                work()
                return
            except CABLE_TROUBLE as trouble:
                self._sitting.recorder.set_aside(str(trouble))
                if attempt == MOST_ATTEMPTS:
                    raise
                self._sitting.reconnect(trouble, self._tell)

    def _tell(self, text: str) -> None:
        self._sitting.recorder.write_diary("cable", text)
        self._talk.tell(text)


class _Clock:
    """Tells how far the survey is and how long it will still take."""

    def __init__(self, visits: tuple[Visit, ...], file: PartialRecording, talk: Talk | HandTalk) -> None:
        self._visits, self._file, self._talk = visits, file, talk
        self._done_before = len(file.done)
        self._started_s = time.monotonic()

    def sayer(self, index: int) -> Callable[[str, float], None]:
        """Return a function that is told what is being done at a visit, and which share of it is behind us."""

        def say(doing: str, share_of_key: float) -> None:
            done, count = len(self._file.done), len(self._visits)
            here = done - self._done_before + share_of_key
            left = count - done - share_of_key
            passed_s = time.monotonic() - self._started_s
            left_s = passed_s * left / here if here >= 1 else None
            key = self._visits[index].key
            self._talk.progress(Progress(key, index, count, doing, (done + share_of_key) / count, left_s))

        return say


def _result(visits: tuple[Visit, ...], file: PartialRecording, sitting: Sitting) -> SurveyResult:
    def with_outcome(outcome: str) -> tuple[Key, ...]:
        return tuple(visit.key for visit in visits if file.done.get(visit.key) == outcome)

    return SurveyResult(
        file.path,
        recorded=with_outcome("recorded"),
        missed=with_outcome("missed"),
        skipped=with_outcome("skipped"),
        sample_count=sitting.recorder.sample_count,
        samples_heard=sitting.samples_heard,
        samples_lost=sitting.samples_lost,
        damage_count=sitting.recorder.damage_count,
    )
