"""A press by hand on a reference: the program sees for itself when it may begin, when it has, and when it is over.

How it works: nobody is asked to press before the zero has been read in the air, for a quick person would press it away.
A press has begun when the force has left the zero by a touch, and is over when it has stayed near it again for a while.
A person can say that it is over too. Samples that were lost in it, or a zero that was read under a resting hand (the
force then stays below it), make the press count for nothing, and it is asked for again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from daq.calibration.presses import Press
from daq.errors import NotPressed, ReadingLost
from daq.listener import Listener
from daq.sitting import Sitting
from recordings.types import LinearScale, RawTrace

LOOK_EVERY_S = 0.01
NOISE_PERCENTILES = (5.0, 95.0)
"""Between these the zero must lie still: single samples may be off, by hum or a jolt."""


class Wanted(Enum):
    """What the person is waited for to do; the value says it in words."""

    HANDS_OFF = "hands off the plunger"
    PRESS = "press slowly, then let go"
    LET_GO = "let go"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandPressSettings:
    """When a press by hand has begun, and when it is over."""

    begun_newton: float = 0.5
    """Above the zero; a hand on the frame does less."""
    over_newton: float = 0.1
    """This near to the zero the plunger is taken to be in the air again; air is as still as this, too."""
    rest_s: float = 0.4
    """So long it must be in the air before and after, to read the zero."""
    least_newton: float = 2.0
    """A press that did not come so far is not taken for one."""
    hands_off_after_s: float = 2.0
    """When nothing was still for so long, the person is told to take the hands off."""
    timeout_s: float = 120.0
    """Patience, in rig time."""


class HandPressWatch:
    """Takes samples in pieces of any size and returns the press when it is over. No port, no clock."""

    def __init__(self, force: LinearScale, sample_rate_hz: float, settings: HandPressSettings | None = None) -> None:
        self.settings = settings or HandPressSettings()
        self._force = force
        self._rest = max(2, round(self.settings.rest_s * sample_rate_hz))
        self._kept = RawTrace.none()
        self._zero_newton = 0.0
        self.wanted = Wanted.HANDS_OFF
        self.gaps = 0
        self.held = 0
        """How many presses counted for nothing because the plunger had been held while the zero was read."""

    def feed(self, trace: RawTrace) -> RawTrace | None:
        """Take some samples; return the whole press, from air to air, when it is over."""
        if not len(trace):
            return None
        joined = RawTrace.joined([self._kept, trace])
        gaps = np.flatnonzero(np.diff(joined.sample_number) != 1)
        if len(gaps):
            self.gaps += len(gaps)
            self.wanted = Wanted.HANDS_OFF  # half a press is none
            joined = joined.part(slice(int(gaps[-1]) + 1, None))
        self._kept = joined
        if self.wanted is Wanted.HANDS_OFF and not self._in_the_air():
            return None
        if self.wanted is not Wanted.LET_GO and not self._begun():
            return None
        return self._over()

    def said_to_be_over(self) -> RawTrace | None:
        """Return what there is of a press that a person calls finished; None: it had not begun."""
        finished = self.wanted is Wanted.LET_GO and self._peak_newton() >= self.settings.least_newton
        return self._kept if finished else None

    def _in_the_air(self) -> bool:
        """Read the zero from the newest stretch if it is still; then a press is wanted. Nothing older is kept."""
        self._kept = self._kept.part(slice(-self._rest, None))
        newest = self._newton()
        if len(newest) < self._rest or not self._still(newest):
            return False
        self._zero_newton, self.wanted = float(np.median(newest)), Wanted.PRESS
        return True

    def _begun(self) -> bool:
        """Tell whether a press has begun. If not, only the newest air is of use, and the cell drifts in it."""
        if self._peak_newton() >= self.settings.begun_newton:
            self.wanted = Wanted.LET_GO
            return True
        self._kept = self._kept.part(slice(-2 * self._rest, None))
        newest = self._newton()[-self._rest :]
        if self._still(newest) and float(np.median(newest)) < self._zero_newton + self.settings.over_newton:
            self._zero_newton = float(np.median(newest))
        return False

    def _over(self) -> RawTrace | None:
        tail = self._newton()[-self._rest :]
        if self._still(tail) and float(np.median(tail)) < self._zero_newton - self.settings.over_newton:
            self.held += 1
            self.wanted = Wanted.HANDS_OFF
            return None
        if np.max(np.abs(tail - self._zero_newton)) >= self.settings.over_newton:
            return None
        if self._peak_newton() < self.settings.least_newton:  # a touch; wait for the press
            self.wanted, self._kept = Wanted.PRESS, self._kept.part(slice(-self._rest, None))
            return None
        return self._kept

    def _newton(self) -> NDArray[np.float64]:
        newton: NDArray[np.float64] = self._force.physical(self._kept.force_counts)
        return newton

    def _still(self, newton: NDArray[np.float64]) -> bool:
        low, high = np.percentile(newton, NOISE_PERCENTILES)
        return bool(high - low < self.settings.over_newton)

    def _peak_newton(self) -> float:
        """Above the zero."""
        return float(np.percentile(self._newton(), 99.0)) - self._zero_newton


def hand_press(
    sitting: Sitting,
    ask: Callable[[Wanted], None],
    said_over: Callable[[], bool],
    settings: HandPressSettings | None = None,
) -> Press:
    """Wait for a press and return it.

    ask: tells the person to press, as soon as the zero is read and again when a press counted for nothing, or to take
    the hands off when nothing is still. said_over: asked often whether the person calls the press finished.

    Raises NotPressed or ReadingLost at the end of the patience, and DaqError and its kinds when the
    rig is not heard any more.
    """
    rate_hz, heard = sitting.rig.info.sample_rate_hz or 1000.0, Listener()
    watch, first_us, waited_us = HandPressWatch(sitting.rig.calibration.force, rate_hz, settings), None, 0
    asking = _Asking(ask, watch)
    with sitting.recorder.listening(heard.add):
        while waited_us < watch.settings.timeout_s * 1e6:
            sitting.session.attend(LOOK_EVERY_S)
            came = heard.take()
            if len(came):
                first_us = int(came.tick_us[0]) if first_us is None else first_us
                waited_us = int(came.tick_us[-1]) - first_us
            whole = watch.feed(came)
            asking.look(waited_us)
            if whole is None and said_over():
                whole = watch.said_to_be_over()
            if whole is not None:
                return Press(whole, None, 1 + watch.gaps)
    if watch.gaps:
        raise ReadingLost(watch.gaps, watch.settings.timeout_s)
    raise NotPressed(watch.settings.timeout_s, watch.wanted.value)


class _Asking:
    """Asks once for each press that is wanted, and once for hands off."""

    def __init__(self, ask: Callable[[Wanted], None], watch: HandPressWatch) -> None:
        self._ask, self._watch = ask, watch
        self._asked: set[tuple[Wanted, int]] = set()

    def look(self, waited_us: int) -> None:
        """Ask for what is wanted now, if that has not been done."""
        watch = self._watch
        if watch.wanted is not Wanted.HANDS_OFF:
            self._once(Wanted.PRESS, watch.gaps + watch.held)
        elif not self._asked and waited_us > watch.settings.hands_off_after_s * 1e6:
            self._once(Wanted.HANDS_OFF, 0)

    def _once(self, wanted: Wanted, time: int) -> None:
        if (wanted, time) not in self._asked:
            self._asked.add((wanted, time))
            self._ask(wanted)
