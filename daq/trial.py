"""A trial of the rig before a survey: a rest, a short way down and up in the air, a careful touch.

How it works: nothing moves before the force has shown that it lives; then the plunger goes down and up 2 mm in the
air; then it goes down in small steps, and after each the host looks at force and place itself, since a cell with the
wrong sign never comes to its force limit. Only when a touch has raised the force is the limit of the rig tried at the
speed of a survey. Whatever goes wrong, the last thing the rig hears is Stop.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from daq.errors import DaqError
from daq.guard import HostGuard
from daq.introduction import RigIntroduction
from daq.link import Link
from daq.listener import Listener
from daq.port import open_port
from daq.programme import Approach as KeyFinding
from daq.session import Session
from recordings.trial import AirMove, Approach, Touch, Trial, Untried
from recordings.types import RawTrace
from rig.protocol.messages import Cause, Status

UM = 0.001
FIRST_SAMPLE_S = 0.001
ANYWHERE_MM = (-float("inf"), float("inf"))
"""The gauge is on trial itself, so the host's guard does not go by it."""
BY_HAND = (
    "without a motor: lay a known weight on the plunger, then a gauge block under it, check --still each time, and see "
    "that zero and place at rest change by as much, with the right sign"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlan:
    """What is tried and how."""

    rest_s: float = 10.0
    """Long enough for the drift over a stroke and for hum within 0.1 Hz."""
    moves: bool = True
    """False: nothing moves."""
    air_mm: float = 2.0
    """Two turns of a usual screw, so its periodic error cancels; a rig is set up with more air than this."""
    air_mm_per_s: float = 4.0
    """The speed of the strokes: the motor's shaking is that of a survey."""
    step_mm: float = 0.2
    """A plunger of 50 N/mm that meets something hard presses with 10 N at most before the host has looked."""
    step_mm_per_s: float = 5.0
    settle_s: float = 0.15
    """After a move, before anything is read: a block of samples and the last trembling."""
    read_s: float = 0.3
    """How long force and place are read where the plunger stands."""
    off_course_mm: float = 0.5
    """If the gauge is so far from where the motor should be, the plunger is stuck or the gauge is wrong."""
    past_touch_mm: float = 1.0
    """So far beyond the touch a rig that ignores its force limit may press the key down: a tenth of its dip."""
    find: KeyFinding = field(default_factory=KeyFinding)
    """How a survey finds a key: its touch, its speed, its clearance."""


def run_trial(port_path: str, plan: TrialPlan, *, on_step: Callable[[str], None]) -> Trial:
    """Try a rig and return what it showed. on_step is told in words what happens next.

    Raises DaqError and its kinds; a rig without a motor is no error, what needs one is then left untried.
    """
    listener = Listener()
    with Link(open_port(port_path), listener.add) as link:
        session = Session(link)
        try:
            rig = session.greet()
            listener.guard = HostGuard(rig.calibration, ANYWHERE_MM, session.stop_now)
            listener.forget()  # what was on the cable before the greeting is not its damage
            return _Trier(session, listener, rig, plan, on_step).run()
        except BaseException:  # Ctrl-C included: the rig must stop whatever happened
            with suppress(DaqError):  # the cable is gone: the rig's own watchdog stops it, the first error is told
                session.stop()
            raise


class _Trier:
    """The parts of a trial, one after the other."""

    def __init__(
        self,
        session: Session,
        listener: Listener,
        rig: RigIntroduction,
        plan: TrialPlan,
        on_step: Callable[[str], None],
    ) -> None:
        self._session, self._listener, self._rig, self._plan, self._on_step = session, listener, rig, plan, on_step
        self._home_mm = rig.travel_mm[0]

    def run(self) -> Trial:
        """Make the trial."""
        started_at = datetime.now(UTC)
        self._session.start_stream()
        self._session.rest(FIRST_SAMPLE_S)  # waiting is reckoned from the newest sample, so there must be one
        self._on_step(f"resting {self._plan.rest_s:g} s: keep hands off bench and rig")
        rest = self._read(self._plan.rest_s)
        air, touch = self._motion(rest)
        self._session.stop_stream()
        return Trial(
            started_at=started_at,
            rig=self._rig.info,
            calibration=self._rig.calibration,
            force_range_newton=self._rig.force_range_newton,
            travel_mm=self._rig.travel_mm,
            rest=rest,
            air=air,
            touch=touch,
            damage=self._listener.damage(),
        )

    def _motion(self, rest: RawTrace) -> tuple[AirMove | Untried, Touch | Untried]:
        if not self._plan.moves:
            still = Untried("nothing was to move", f"run without --still; {BY_HAND}")
            return still, still
        if not self._rig.has_motor:
            motorless = Untried("the rig has no motor for the plunger", BY_HAND)
            return motorless, motorless
        if len(rest) == 0 or (rest.force_counts == rest.force_counts[0]).all():
            dead = Untried(
                "not moved: the force channel shows one count, so nothing would stop the motor",
                "mend the force channel",
            )
            return dead, dead
        self._on_step("going to the top")
        self._listener.watch_for(self._rig.force_range_newton)
        self._session.stand_still()
        self._session.home()
        air = self._move_in_air()
        touch = air if isinstance(air, Untried) else self._why_not_touch(air) or self._touch(air)
        self._on_step("going home")
        self._home()
        return air, touch

    def _move_in_air(self) -> AirMove | Untried:
        self._on_step(f"going down and up {self._plan.air_mm:g} mm in the air")
        at_top = self._settle_and_read()
        limit = self._newton(at_top) + self._plan.find.touch_newton
        bottom = self._go(self._home_mm + self._plan.air_mm, self._plan.air_mm_per_s, limit)
        if bottom.cause == Cause.FORCE_LIMIT:
            return Untried(
                f"the force limit stopped the plunger {bottom.position * UM - self._home_mm:.2f} mm below its top",
                f"raise the rig until {self._plan.air_mm:g} mm of air are under the plunger at its top",
            )
        down, at_bottom = self._settle(), self._read(self._plan.read_s)
        self._go(self._home_mm, self._plan.air_mm_per_s, self._rig.force_range_newton)
        up, back_at_top = self._settle(), self._read(self._plan.read_s)
        return AirMove(
            commanded_mm=bottom.position * UM - self._home_mm,
            at_top=at_top,
            at_bottom=at_bottom,
            back_at_top=back_at_top,
            moving=(down, up),
        )

    def _why_not_touch(self, air: AirMove) -> Untried | None:
        """The gauge must follow the motor in the air, or nobody would see the plunger stall on its way down."""
        shown_mm = self._mm(air.at_bottom) - self._mm(air.at_top)
        if abs(shown_mm - air.commanded_mm) <= self._plan.off_course_mm:
            return None
        return Untried(
            f"not moved on: told to go down {air.commanded_mm:.2f} mm, the gauge showed {shown_mm:.2f} mm",
            "mend the displacement gauge or its scale first",
        )

    def _touch(self, air: AirMove) -> Touch | Untried:
        """Go down in small steps until the force differs, up or down, and look at force and place after each."""
        plan = self._plan
        self._on_step("touching the key under the plunger, step by step")
        in_air = air.back_at_top
        zero, place_off_mm = self._newton(in_air), self._mm(in_air) - self._home_mm
        to_mm, deepest_mm = self._home_mm, self._rig.travel_mm[1]
        while to_mm + plan.step_mm <= deepest_mm:
            to_mm += plan.step_mm
            status = self._go(to_mm, plan.step_mm_per_s, zero + plan.find.touch_newton)
            seen = self._settle()
            off = self._newtons(seen) - zero
            if status.cause == Cause.FORCE_LIMIT or np.abs(off).max() >= plan.find.touch_newton:
                return self._touched(in_air, seen, status.position * UM)
            if abs(self._mm(seen, newest=True) - place_off_mm - to_mm) > plan.off_course_mm:
                return Untried(
                    f"stopped at {to_mm:.1f} mm: the gauge does not follow the motor",
                    "look whether the plunger is stuck or the gauge's scale is wrong",
                )
        return Untried(
            f"the plunger touched nothing down to {to_mm:.1f} mm", "put it above a key, or lower the rig, and try again"
        )

    def _touched(self, in_air: RawTrace, step: RawTrace, at_mm: float) -> Touch:
        on_key = RawTrace.joined([step, self._read(self._plan.read_s)])
        zero = self._newton(in_air)
        off = self._newtons(step) - zero
        approach = (
            self._approach(zero, at_mm)
            if off[np.argmax(np.abs(off))] > 0.0
            else Untried("not approached again: touching lowers the force", "mend the sign of the force first")
        )
        return Touch(limit_newton=self._plan.find.touch_newton, in_air=in_air, on_key=on_key, approach=approach)

    def _approach(self, zero: float, touch_mm: float) -> Approach:
        find = self._plan.find
        self._on_step(f"approaching it at {find.speed_mm_per_s:g} mm/s to try the force limit")
        start_mm = max(touch_mm - find.clearance_mm, self._home_mm)
        end_mm = min(touch_mm + self._plan.past_touch_mm, self._rig.travel_mm[1])
        self._go(start_mm, find.speed_mm_per_s, self._rig.force_range_newton)
        self._settle()
        status = self._go(end_mm, find.speed_mm_per_s, zero + find.touch_newton)
        return Approach(
            limit_newton=find.touch_newton,
            speed_mm_per_s=find.speed_mm_per_s,
            ended_by_limit=status.cause == Cause.FORCE_LIMIT,
            trace=self._settle(),
        )

    def _home(self) -> None:
        self._go(self._home_mm, self._plan.find.speed_mm_per_s, self._rig.force_range_newton)

    def _go(self, to_mm: float, speed_mm_per_s: float, force_limit_newton: float) -> Status:
        limit = min(force_limit_newton, self._rig.force_range_newton)
        self._listener.watch_for(limit)
        return self._session.move_plunger(
            to_mm,
            speed_mm_per_s=speed_mm_per_s,
            acceleration_mm_per_s2=self._plan.find.acceleration_mm_per_s2,
            force_limit_newton=limit,
        )

    def _read(self, seconds: float) -> RawTrace:
        """Return some rig time of samples from now on."""
        self._listener.take()
        self._session.rest(seconds)
        return self._take_some()

    def _settle(self) -> RawTrace:
        """Let the plunger come to rest and return what has been heard since the last take."""
        self._session.rest(self._plan.settle_s)
        return self._take_some()

    def _take_some(self) -> RawTrace:
        """Return what has come since the last take, one sample at least: the clock may run ahead of the samples."""
        while not len(taken := self._listener.take()):
            self._session.rest(FIRST_SAMPLE_S)
        return taken

    def _settle_and_read(self) -> RawTrace:
        self._settle()
        return self._read(self._plan.read_s)

    def _newtons(self, trace: RawTrace) -> NDArray[np.float64]:
        return self._rig.calibration.force.physical(trace.force_counts)

    def _newton(self, trace: RawTrace) -> float:
        return float(self._newtons(trace).mean())

    def _mm(self, trace: RawTrace, *, newest: bool = False) -> float:
        place = self._rig.calibration.displacement.physical(trace.displacement_counts)
        return float(np.median(place[-20:] if newest else place))
