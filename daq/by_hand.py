"""Records one key by hand: the person presses, every stroke is judged at once, good ones are counted.

How it works: what the recorder hears is passed to the judge; its verdicts name the stretches of the recording and are
told at once, as long as the press can still be repeated. The person goes on with Enter or the foot switch, begins the
key again by a long tread, or skips it; a rig with lamps shows what is wanted next. All strokes stay in the recording,
the good and the bad: the analysis looks at them again with more time.
"""

from __future__ import annotations

import queue
from dataclasses import dataclass

from daq.errors import ProgrammeUnfit
from daq.judge import StrokeJudge
from daq.notes_heard import NotesHeard
from daq.plan import Visit
from daq.programme import Strokes
from daq.recorder import News
from daq.sitting import Sitting
from daq.steps import Say
from daq.talk import HandTalk, Order
from daq.verdict import StrokeVerdict
from recordings.keys import note_name
from recordings.types import FOOT_SWITCH, Damage, RawEvents, RawTrace
from rig.protocol.messages import Lamp

LOOK_EVERY_S = 0.02
LONG_TREAD_US = 1_000_000
"""A foot that stays so long on the switch wants to begin the key again."""


@dataclass(slots=True)
class _KeyInHand:
    """What has become of the key so far."""

    wanted: int
    notes: NotesHeard
    good: int = 0
    strokes: int = 0
    lamp: Lamp = Lamp.WAITING


class FootSwitch:
    """Turns the edges of the foot switch into orders."""

    def __init__(self) -> None:
        self._down_us: int | None = None

    def listen(self, events: RawEvents) -> list[Order]:
        """Return what the foot has ordered: a short tread goes on, a long one begins again."""
        orders = []
        for tick_us, source, byte in zip(
            events.tick_us.tolist(), events.source.tolist(), events.byte.tolist(), strict=True
        ):
            if source != FOOT_SWITCH:
                continue
            if byte:
                self._down_us = tick_us
            elif self._down_us is not None:
                orders.append(Order.AGAIN if tick_us - self._down_us >= LONG_TREAD_US else Order.NEXT)
                self._down_us = None
        return orders


class HandWorker:
    """The person's part of a survey."""

    def __init__(self, sitting: Sitting, talk: HandTalk) -> None:
        self._sitting, self._talk = sitting, talk
        self._judge = StrokeJudge(sitting.rig.calibration)
        self._news: queue.SimpleQueue[News] = queue.SimpleQueue()
        self._foot = FootSwitch()

    def refuse_unfit(self, visits: tuple[Visit, ...]) -> None:
        """Raise ProgrammeUnfit if a programme has no strokes that a hand could press."""
        for visit in visits:
            _wanted(visit)

    def prepare(self) -> None:
        """Start the stream: at the beginning, and whenever the rig had to be greeted anew."""
        self._sitting.session.start_stream()
        self._judge = StrokeJudge(self._sitting.rig.calibration)  # after a pulled cable the cell's zero may be another

    def finish(self) -> None:
        """End the stream."""
        self._sitting.session.stop_stream()

    def record(self, visit: Visit, say: Say) -> None:
        """Record one key until the person goes on. What is under way when an error is raised is not marked done."""
        recorder = self._sitting.recorder
        in_hand = _KeyInHand(_wanted(visit), NotesHeard(visit.key))
        say("press", 0.0)
        self._talk.next_key(visit.key, in_hand.wanted)
        recorder.begin_key(visit.key)
        self._cue(visit, in_hand)
        with recorder.listening(self._news.put):
            while True:
                order = self._look(visit, in_hand, say)
                if order is Order.AGAIN:
                    recorder.set_aside("begun again by the person")
                    recorder.begin_key(visit.key)
                    in_hand = _KeyInHand(in_hand.wanted, NotesHeard(visit.key))
                    say("press", 0.0)
                    self._talk.next_key(visit.key, in_hand.wanted)
                    self._cue(visit, in_hand)
                elif order is Order.NEXT and in_hand.good < in_hand.wanted:
                    self._talk.tell(f"{in_hand.good} of {in_hand.wanted} good; press on, or skip the key with s")
                elif order is not None:
                    break
        recorder.end_key("the rest", "recorded" if order is Order.NEXT else "skipped")

    def _look(self, visit: Visit, in_hand: _KeyInHand, say: Say) -> Order | None:
        """Take what has come, tell of it, and return what the person wants."""
        self._sitting.session.attend(LOOK_EVERY_S)
        orders: list[Order] = []
        while not self._news.empty():
            match self._news.get():
                case RawTrace() as trace:
                    for verdict in self._judge.feed(trace):
                        self._count(visit, verdict, in_hand, say)
                case RawEvents() as events:
                    in_hand.notes.listen(events)
                    orders += self._foot.listen(events)
                case Damage():
                    pass  # the recorder keeps it, and the judge sees the gap in the numbers
        self._talk.now(self._judge.now)
        return orders[0] if orders else self._talk.order()

    def _count(self, visit: Visit, verdict: StrokeVerdict, in_hand: _KeyInHand, say: Say) -> None:
        in_hand.strokes += 1
        in_hand.good += verdict.good
        in_hand.lamp = Lamp.GOOD if verdict.good else Lamp.AGAIN
        self._sitting.recorder.end_stretch(f"stroke {in_hand.strokes}: {verdict.word}", "strokes")
        self._talk.verdict(verdict, in_hand.good, in_hand.wanted)
        if in_hand.notes.others:
            heard = ", ".join(sorted({note_name(note) for note in in_hand.notes.others}))
            self._talk.tell(f"{heard} sounded while {visit.key.name} is wanted: is the rig over the right key?")
            in_hand.notes.others.clear()
        say(f"{in_hand.good} of {in_hand.wanted} good", min(in_hand.good / in_hand.wanted, 1.0))
        self._cue(visit, in_hand)

    def _cue(self, visit: Visit, in_hand: _KeyInHand) -> None:
        self._sitting.session.cue(visit.key.number, good=in_hand.good, wanted=in_hand.wanted, verdict=in_hand.lamp)


def _wanted(visit: Visit) -> int:
    """Return how many good strokes a visit wants: those of its slow strokes, nothing else can be pressed by hand."""
    strokes = [step for programme in visit.programmes for step in programme.steps if isinstance(step, Strokes)]
    if not strokes:
        raise ProgrammeUnfit(visit.programmes[0].name, "it has no slow strokes, and nothing else can be done by hand")
    return sum(step.count for step in strokes)
