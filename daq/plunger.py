"""The plunger over one key: find it, press it, lift it; every move with its guards set.

How it works: force limits are reckoned from what the cell shows in the air, so its zero offset does not shift them.
Where the key begins and where its bed is are remembered for the steps that need them.
"""

from __future__ import annotations

import numpy as np

from daq.errors import NoKeyUnderPlunger
from daq.guard import SLOW_MM_PER_S, HostGuard
from daq.introduction import RigIntroduction
from daq.programme import Approach
from daq.recorder import News, Recorder
from daq.session import Session
from recordings.keys import Key
from recordings.types import RawTrace
from rig.protocol.messages import Cause, Status

UM = 0.001


class Plunger:
    """One rig's plunger, at the host's command."""

    def __init__(self, session: Session, rig: RigIntroduction, recorder: Recorder, guard: HostGuard) -> None:
        self.session, self.rig, self.recorder = session, rig, recorder
        self._guard = guard
        self.zero_newton = 0.0
        """What the cell shows in the air."""
        self.touch_mm = 0.0
        """Where the plunger met the key."""
        self.start_mm = 0.0
        """Where slow strokes start, in the air above it."""
        self.bed_mm: float | None = None
        """Where the last slow stroke ended; None: there was none yet."""

    def go(self, to_mm: float, speed_mm_per_s: float, acceleration: float, limit_newton: float | None = None) -> Status:
        """Move; acceleration in mm/s2. limit_newton is the force on the key, None: as much as the cell bears."""
        return self.session.move_plunger(
            to_mm,
            speed_mm_per_s=speed_mm_per_s,
            acceleration_mm_per_s2=acceleration,
            force_limit_newton=self._set_limit(limit_newton, speed_mm_per_s),
        )

    def swing(
        self,
        top_mm: float,
        bottom_mm: float,
        count: int,
        speed_mm_per_s: float,
        acceleration: float,
        limit_newton: float,
    ) -> Status:
        """Press `count` times in the rig's own rhythm."""
        return self.session.swing_plunger(
            top_mm,
            bottom_mm,
            count,
            speed_mm_per_s=speed_mm_per_s,
            acceleration_mm_per_s2=acceleration,
            force_limit_newton=self._set_limit(limit_newton, speed_mm_per_s),
        )

    def press_to_bed(self, speed_mm_per_s: float, acceleration: float, limit_newton: float) -> float:
        """Press until the force is reached and return where that was, in mm."""
        status = self.go(self.rig.travel_mm[1], speed_mm_per_s, acceleration, limit_newton)
        self.bed_mm = status.position * UM
        return self.bed_mm

    def home(self, how: Approach) -> None:
        """Lift to the top."""
        self.go(self.rig.travel_mm[0], how.speed_mm_per_s, how.acceleration_mm_per_s2)

    def find(self, key: Key, how: Approach) -> None:
        """Touch the key from above and back off to where strokes start. Raises NoKeyUnderPlunger."""
        self.bed_mm = None
        deepest_mm = self.rig.travel_mm[1]
        status = self.go(deepest_mm, how.speed_mm_per_s, how.acceleration_mm_per_s2, how.touch_newton)
        if status.cause != Cause.FORCE_LIMIT:
            raise NoKeyUnderPlunger(key.name, deepest_mm)
        self.touch_mm = status.position * UM
        self.start_mm = max(self.touch_mm - how.clearance_mm, self.rig.travel_mm[0])
        self.go(self.start_mm, how.speed_mm_per_s, how.acceleration_mm_per_s2)

    def read_zero(self, seconds: float) -> None:
        """Stand in the air and take what the cell shows as its zero."""
        heard: list[float] = []

        def listen(news: News) -> None:
            if isinstance(news, RawTrace):
                heard.append(float(np.mean(news.force_counts)))

        with self.recorder.listening(listen):
            self.session.rest(seconds)
        if heard:
            self.zero_newton = float(self.rig.calibration.force.physical(float(np.mean(heard))))

    def _set_limit(self, force_newton: float | None, speed_mm_per_s: float) -> float:
        most = self.rig.force_range_newton
        limit = most if force_newton is None else min(self.zero_newton + force_newton, most)
        self._guard.force_limit_newton = limit if speed_mm_per_s <= SLOW_MM_PER_S else most
        return limit
