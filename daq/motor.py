"""Records one key by motor: bring the plunger over it, touch it, carry out the visit's programmes, go home."""

from __future__ import annotations

from daq.errors import NoKeyUnderPlunger
from daq.plan import Visit
from daq.plunger import Plunger
from daq.sitting import Sitting
from daq.steps import Say, carry_out, refuse_unfit
from daq.talk import Talk


class MotorWorker:
    """The motor's part of a survey."""

    def __init__(self, sitting: Sitting, talk: Talk) -> None:
        self._sitting, self._talk = sitting, talk

    def refuse_unfit(self, visits: tuple[Visit, ...]) -> None:
        """Raise ProgrammeUnfit, before anything moves, if the rig cannot do what the plan asks for."""
        for programme in {programme.name: programme for visit in visits for programme in visit.programmes}.values():
            refuse_unfit(programme, self._sitting.rig)

    def prepare(self) -> None:
        """Start the stream and find the top: at the beginning, and whenever the rig had to be greeted anew."""
        session = self._sitting.session
        session.stand_still()
        session.start_stream()
        session.home()

    def record(self, visit: Visit, say: Say) -> None:
        """Record one key. What is under way when an error is raised is not marked done."""
        recorder, how = self._sitting.recorder, visit.programmes[0].approach
        plunger = Plunger(self._sitting.session, self._sitting.rig, recorder, self._sitting.guard)
        say("approach", 0.0)
        if self._sitting.rig.has_carriage:
            self._sitting.session.move_carriage(visit.key.number)
        else:
            self._talk.place_rig(visit.key)
        recorder.begin_key(visit.key)
        plunger.read_zero(ZERO_S)
        try:
            plunger.find(visit.key, how)
        except NoKeyUnderPlunger as absent:
            self._talk.tell(str(absent))
            plunger.home(how)
            recorder.end_key("no key found", "missed")
            return
        self._carry_out(visit, plunger, say)
        plunger.home(how)
        recorder.end_key("return", "recorded")

    def _carry_out(self, visit: Visit, plunger: Plunger, say: Say) -> None:
        steps = [step for programme in visit.programmes for step in programme.steps]
        for number, step in enumerate(steps):

            def say_step(doing: str, share: float, number: int = number) -> None:
                say(doing, (number + share) / len(steps))

            carry_out(step, visit.key, plunger, say_step)

    def finish(self) -> None:
        """End the stream: what was lost at the very end is known then."""
        self._sitting.session.stop_stream()


ZERO_S = 0.3
"""How long the cell is read in the air before the key is looked for."""
