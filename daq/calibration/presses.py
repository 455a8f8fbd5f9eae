"""Presses of the motor on a reference: down from the air to a force or a depth, and back, with every raw sample.

How it works: the reference is touched once, gently, from the top; every press then starts a little above it, rests in
the air so that its zero can be read, goes down and comes back. A press in which samples were lost is made again. Force
limits are the rig's own and the host's guard's, as in a survey; they rest on the scales that the rig states.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from daq.errors import NothingUnderPlunger, ProgrammeUnfit, ReadingLost
from daq.listener import Listener
from daq.plunger import UM, Plunger
from daq.programme import Approach
from daq.sitting import RigSitting
from recordings.types import RawTrace
from rig.protocol.messages import Cause


@dataclass(frozen=True, slots=True, kw_only=True)
class PressSettings:
    """How a reference is pressed."""

    touch: Approach = field(default_factory=Approach)
    """As a survey touches a key: the same speed and force."""
    speed_mm_per_s: float = 0.5
    """Slow: against something rigid the force rises by 50 N for each mm."""
    acceleration_mm_per_s2: float = 2000.0
    """Hard: a stroke of 20 mm/s has then reached its speed after 0.1 mm."""
    to_newton: float = 5.0
    """More than a key bed takes in a survey (3 N, and what the motor shoots over)."""
    rest_s: float = 0.4
    """In the air before and after a press, to read the zero."""
    most_tries: int = 3
    """So often a press is made again when samples were lost."""


@dataclass(frozen=True, slots=True, eq=False)
class Press:
    """One press, from air to air, without a gap."""

    trace: RawTrace
    speed_mm_per_s: float | None
    """As the motor was told; None: a person pressed."""
    tries: int
    """1: nothing was lost."""


class MotorPresser:
    """The plunger over a reference."""

    def __init__(self, sitting: RigSitting, settings: PressSettings | None = None) -> None:
        self.settings = settings or PressSettings()
        self._sitting = sitting
        guard = sitting.guard
        assert guard is not None  # a rig that has been greeted has one
        self._plunger = Plunger(sitting.session, sitting.rig, sitting.recorder, guard)
        if self.settings.to_newton > 0.9 * sitting.rig.force_range_newton:
            raise ProgrammeUnfit(
                "calibration",
                f"it presses to {self.settings.to_newton:g} N, the cell ends at {sitting.rig.force_range_newton:g} N",
            )

    def touch(self, what: str) -> float:
        """Touch what stands under the plunger, back off a little, and return where that was, in mm.

        Raises NothingUnderPlunger.
        """
        plunger, how = self._plunger, self.settings.touch
        plunger.home(how)
        plunger.read_zero(self.settings.rest_s)
        deepest_mm = plunger.rig.travel_mm[1]
        status = plunger.go(deepest_mm, how.speed_mm_per_s, how.acceleration_mm_per_s2, how.touch_newton)
        if status.cause != Cause.FORCE_LIMIT:
            plunger.home(how)
            raise NothingUnderPlunger(what, deepest_mm)
        plunger.touch_mm = status.position * UM
        plunger.start_mm = max(plunger.touch_mm - how.clearance_mm, plunger.rig.travel_mm[0])
        plunger.go(plunger.start_mm, how.speed_mm_per_s, how.acceleration_mm_per_s2)
        return plunger.touch_mm

    def press(self, speed_mm_per_s: float | None = None) -> Press:
        """Press to the force of the settings and come back. Raises ReadingLost."""
        return self._whole(speed_mm_per_s or self.settings.speed_mm_per_s, None)

    def stroke(self, depth_mm: float, speed_mm_per_s: float) -> Press:
        """Press so far below touch and come back; the force of the settings ends it sooner. Raises ReadingLost."""
        return self._whole(speed_mm_per_s, self._plunger.touch_mm + depth_mm)

    def depth_mm(self) -> float:
        """Press to the force of the settings once and return how far below touch that is, in mm."""
        plunger, settings = self._plunger, self.settings
        bed_mm = plunger.press_to_bed(
            settings.touch.speed_mm_per_s, settings.acceleration_mm_per_s2, settings.to_newton
        )
        plunger.go(plunger.start_mm, settings.touch.speed_mm_per_s, settings.acceleration_mm_per_s2)
        return bed_mm - plunger.touch_mm

    def home(self) -> None:
        """Lift to the top, so that a hand can come near."""
        self._plunger.home(self.settings.touch)

    def _whole(self, speed: float, to_mm: float | None) -> Press:
        for tries in range(1, self.settings.most_tries + 1):
            trace = self._once(speed, to_mm)
            if len(trace) and not np.any(np.diff(trace.sample_number) != 1):
                return Press(trace, speed, tries)
        raise ReadingLost(self.settings.most_tries, float(trace.tick_us[-1] - trace.tick_us[0]) * 1e-6)

    def _once(self, speed: float, to_mm: float | None) -> RawTrace:
        plunger, settings, heard = self._plunger, self.settings, Listener()
        plunger.go(plunger.start_mm, settings.touch.speed_mm_per_s, settings.touch.acceleration_mm_per_s2)
        with plunger.recorder.listening(heard.add):
            plunger.session.rest(settings.rest_s)
            if to_mm is None:
                plunger.press_to_bed(speed, settings.acceleration_mm_per_s2, settings.to_newton)
            else:
                plunger.go(to_mm, speed, settings.acceleration_mm_per_s2, settings.to_newton)
            plunger.go(plunger.start_mm, speed, settings.acceleration_mm_per_s2)
            plunger.session.rest(settings.rest_s)
        return heard.take()


def prepare_motor(sitting: RigSitting) -> None:
    """Start the stream and find the top. Raises ProgrammeUnfit if the rig has no motor."""
    if not sitting.rig.has_motor:
        raise ProgrammeUnfit("calibration by motor", "it has no motor; press by hand")
    session = sitting.session
    session.stand_still()
    session.start_stream()
    session.home()
