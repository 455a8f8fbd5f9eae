"""Judges every key while the next one is being recorded.

How it works: a process of its own measures and judges, so that the link's thread, which must take every sample in time,
never waits for it, as it would in threads that share one interpreter. It starts afresh before the port is opened: then
it holds no port, and what loading its libraries costs is over when the first key comes. A key comes as it lies on the
disk. What goes wrong there is told and hinders nothing: the whole unit is judged again from its file.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures import TimeoutError as TooSlow
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from types import TracebackType

from daq.talk import Watch
from processing.limits.judge import certain_fail, judge_recorded
from processing.limits.types import Limits
from processing.limits.verdict import KeyVerdict
from recordings.keys import Key
from recordings.types import Header, KeyRecording

LONGEST_WAIT_S = 10.0
"""For the verdict on a key before the next one is begun, if a fail is to end the survey; a key takes 0.1 to 0.5 s."""
Say = Callable[[Header, KeyVerdict], None]


class LiveJudge:
    """A process that judges keys; to be entered before the port is opened."""

    def __init__(self, limits: Limits, say: Say, tell: Callable[[str], None], *, stop_on_fail: bool) -> None:
        self._limits, self._say, self._tell, self._stop_on_fail = limits, say, tell, stop_on_fail
        self._newest: Future[KeyVerdict] | None = None
        context = multiprocessing.get_context("spawn")
        self._process = ProcessPoolExecutor(1, context, _leave_ctrl_c_to_the_parent)

    def __enter__(self) -> Watch:
        self._process.submit(_loaded)
        return Watch(key_done=self._judge, enough=self._enough)

    def __exit__(self, kind: type[BaseException] | None, _: BaseException | None, __: TracebackType | None) -> None:
        self._process.shutdown(cancel_futures=kind is not None)

    def _judge(self, header: Header, recording: KeyRecording) -> None:
        self._newest = None
        try:
            self._newest = self._process.submit(judge_recorded, header, recording, self._limits)
        except BrokenProcessPool:
            self._tell(_not_judged(recording.key, "its process has ended"))
            return
        self._newest.add_done_callback(partial(self._ended, header, recording.key))

    def _ended(self, header: Header, key: Key, future: Future[KeyVerdict]) -> None:
        if future.cancelled():
            return
        trouble = future.exception()
        if trouble is not None:
            self._tell(_not_judged(key, str(trouble) or type(trouble).__name__))
            return
        self._say(header, future.result())

    def _enough(self) -> str | None:
        if not self._stop_on_fail or self._newest is None:
            return None
        try:
            if self._newest.exception(LONGEST_WAIT_S) is not None:  # told already; the whole file is judged later
                return None
        except TooSlow:
            return None
        verdict = self._newest.result()
        return f"{verdict.key.name} fails for certain" if certain_fail(verdict.decisions) else None


def _leave_ctrl_c_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _loaded() -> None:
    """Do nothing: to be called, this module and all it needs has been loaded."""


def _not_judged(key: Key, why: str) -> str:
    return f"{key.name} could not be judged meanwhile ({why}); the whole unit will be judged from its file"
