"""A press by hand on a reference: the program sees for itself when it begins and when it is over.

How it works: the first stretch without change is the zero. A press has begun when the force has left it by a touch, and
is over when the force has stayed near it again for a while. A person can say that it is over too. Samples that were
lost in it make the press count for nothing, and it is asked for again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from daq.calibration.presses import Press
from daq.errors import NotPressed, ReadingLost
from daq.listener import Listener
from daq.sitting import Sitting
from recordings.types import LinearScale, RawTrace

LOOK_EVERY_S = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPressSettings:
    """When a press by hand has begun, and when it is over."""

    begun_newton: float = 0.5
    """Above the zero; a hand on the frame does less."""
    over_newton: float = 0.1
    """This near to the zero the plunger is taken to be in the air again."""
    rest_s: float = 0.4
    """So long it must be in the air before and after, to read the zero."""
    least_newton: float = 2.0
    """A press that did not come so far is not taken for one."""
    timeout_s: float = 120.0
    """Patience, in rig time."""


class HandPressWatch:
    """Takes samples in pieces of any size and returns the press when it is over. No port, no clock."""

    def __init__(self, force: LinearScale, sample_rate_hz: float, settings: HandPressSettings | None = None) -> None:
        self.settings = settings or HandPressSettings()
        self._force = force
        self._rest = max(2, round(self.settings.rest_s * sample_rate_hz))
        self._kept = RawTrace.none()
        self._begun = False
        self.gaps = 0

    @property
    def state(self) -> str:
        """What is waited for, in words."""
        return "let go" if self._begun else "press slowly, then let go"

    def feed(self, trace: RawTrace) -> RawTrace | None:
        """Take some samples; return the whole press, from air to air, when it is over."""
        if not len(trace):
            return None
        joined = RawTrace.joined([self._kept, trace])
        gaps = np.flatnonzero(np.diff(joined.sample_number) != 1)
        if len(gaps):
            self.gaps += len(gaps)
            self._begun = False  # half a press is none
            joined = joined.part(slice(int(gaps[-1]) + 1, None))
        self._kept = joined
        return self._look()

    def said_to_be_over(self) -> RawTrace | None:
        """Return what there is of a press that a person calls finished; None: it had not begun."""
        return self._kept if self._begun and self._peak_newton() >= self.settings.least_newton else None

    def _look(self) -> RawTrace | None:
        if len(self._kept) < 2 * self._rest:
            return None
        if not self._begun:
            self._begun = self._peak_newton() >= self.settings.begun_newton
            if not self._begun:  # only the newest air is of use
                self._kept = self._kept.part(slice(-2 * self._rest, None))
            return None
        tail = self._above_zero()[-self._rest :]
        if np.max(np.abs(tail)) >= self.settings.over_newton:
            return None
        if self._peak_newton() < self.settings.least_newton:  # a touch; wait for the press
            self._begun, self._kept = False, self._kept.part(slice(-self._rest, None))
            return None
        return self._kept

    def _above_zero(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        newton = self._force.physical(self._kept.force_counts)
        above: np.ndarray[tuple[int], np.dtype[np.float64]] = newton - np.median(newton[: self._rest])
        return above

    def _peak_newton(self) -> float:
        return float(np.percentile(self._above_zero(), 99.0)) if len(self._kept) else 0.0


def hand_press(sitting: Sitting, said_over: Callable[[], bool], settings: HandPressSettings | None = None) -> Press:
    """Wait for a press and return it. said_over: asked often whether the person calls it finished.

    Raises NotPressed or ReadingLost at the end of the patience, and DaqError and its kinds when the
    rig is not heard any more.
    """
    rate_hz, heard = sitting.rig.info.sample_rate_hz or 1000.0, Listener()
    watch, waited_us, first_us = HandPressWatch(sitting.rig.calibration.force, rate_hz, settings), 0, None
    with sitting.recorder.listening(heard.add):
        while waited_us < watch.settings.timeout_s * 1e6:
            sitting.session.attend(LOOK_EVERY_S)
            came = heard.take()
            if len(came):
                first_us = int(came.tick_us[0]) if first_us is None else first_us
                waited_us = int(came.tick_us[-1]) - first_us
            whole = watch.feed(came)
            if whole is None and said_over():
                whole = watch.said_to_be_over()
            if whole is not None:
                return Press(whole, None, 1 + watch.gaps)
    if watch.gaps:
        raise ReadingLost(watch.gaps, watch.settings.timeout_s)
    raise NotPressed(watch.settings.timeout_s, watch.state)
