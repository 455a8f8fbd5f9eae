"""Numbers the lines of a rig, dates them, and finds what was lost on the way.

How it works: a line *follows* another if its counter is ahead by at least one and its time has not gone back. Where the
profile has a counter or a time stamp, the newest line waits until the next one is there: if the next line follows the
one before but not the waiting one, and the waiting one is not just where it is to be expected, it was bent on the way
(a digit too many in a counter would otherwise make all lines after it look late). Lines that follow nothing are damage;
a few of them in a row that follow each other mean that the rig was started anew.

A step of the counter by more than one is lines lost. Without a counter a step of the time stamp by more than 1.5
periods is, if the profile gives the rate. With neither, a damaged line is taken to stand for one sample, and a line
that never came cannot be missed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rig.profiles.line_items import DamagedLine, LineEdges, LineItem, LineSamples, LostLines, RigAnew
from rig.profiles.profile import Profile
from rig.protocol.messages import Source

RESTART_AFTER = 5
"""So many lines in a row that follow each other, but not what was before, are a rig started anew."""
LONGEST_GAP_US, LONGEST_GAP_LINES = 3_600_000_000, 1_000_000
"""A longer step is no gap in a recording but a bent number or another start."""

ROW_DTYPE = np.dtype(
    [
        ("time", "i8"),
        ("force", "i4"),
        ("displacement", "i4"),
        ("counter", "i8"),
        ("foot_switch", "u1"),
        ("contact", "u1"),
        ("length", "i4"),
    ]
)
Rows = NDArray[np.void]
"""Lines as numbers, (N,) of ROW_DTYPE; columns that the profile does not have are 0."""


def no_rows(count: int = 0) -> Rows:
    """Return rows of nothing but zeros."""
    return np.zeros(count, ROW_DTYPE)


class LineOrder:
    """Takes lines as they come and returns samples with number and time."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._modulus = profile.counter.modulus if profile.counter else None
        self._time = profile.time
        self._wrap_us = self._time.wraps_at * self._time.us_per_unit if self._time and self._time.wraps_at else None
        self._ordered = self._modulus is not None or self._time is not None
        self._last, self._waiting, self._stray = no_rows(), no_rows(), no_rows()
        self._strays = 0
        self._next_number, self._tick_us = 0, 0
        self._anew = False
        self._switches: dict[str, int] = {}

    def take(self, rows: Rows) -> list[LineItem]:
        """Take some lines in a row, oldest first; return what is certain by now, in order."""
        if not self._ordered or not rows.size:
            return self._accept(rows)
        queue = np.concatenate([self._waiting, rows])
        chain = np.concatenate([self._last, queue])
        if not self._stray.size and self._follows(chain[:-1], chain[1:]).all():
            self._waiting = queue[-1:]
            return self._accept(queue[:-1])
        items: list[LineItem] = []
        for place in range(len(rows)):
            items += self._take_one(rows[place : place + 1])
        return items

    def damaged(self, line: DamagedLine) -> list[LineItem]:
        """Take a line that could not be read; without counter and time it stands for one sample."""
        if self._ordered:
            return [line]
        self._next_number += 1
        self._tick_us = self._reckoned_us(self._next_number)
        return [line, LostLines(self._tick_us, 1, "a damaged line is taken for one sample")]

    def close(self) -> list[LineItem]:
        """Return the line that still waits: nothing after it can speak against it any more."""
        waiting, self._waiting = self._waiting, no_rows()
        return self._accept(waiting)

    def _take_one(self, row: Rows) -> list[LineItem]:
        waiting, self._waiting = self._waiting, row
        items: list[LineItem]
        if self._fits_after(waiting if waiting.size else self._last, row):
            items = self._accept(waiting)
        elif waiting.size and self._fits_after(self._last, row) and not self._is_next(waiting):
            items = [DamagedLine(int(waiting["length"][0]), self._break_between(waiting, row))]
        else:
            self._waiting = waiting
            return self._refuse(row)
        self._stray, self._strays = no_rows(), 0
        return items

    def _refuse(self, row: Rows) -> list[LineItem]:
        """Take a line that follows nothing; the last of RESTART_AFTER such lines in a row begins anew."""
        self._strays = self._strays + 1 if self._stray.size and self._follows(self._stray, row).all() else 1
        self._stray = row
        if self._strays < RESTART_AFTER:
            neighbour = self._waiting if self._waiting.size else self._last
            return [DamagedLine(int(row["length"][0]), self._break_between(neighbour, row))]
        items, missing = self.close(), self._strays - 1
        self._stray, self._strays = no_rows(), 0
        self._next_number += missing
        self._tick_us += max(1, self._reckoned_us(missing + 1))
        self._last, self._waiting, self._anew = no_rows(), row, True
        anew = RigAnew(self._tick_us, f"at least {missing} samples are missing, how many cannot be told")
        return [*items, anew, LostLines(self._tick_us, missing, "refused before it was clear that the rig began anew")]

    def _break_between(self, before: Rows, after: Rows) -> str:
        what = "counter" if not self._counter_follows(before, after).all() else "time"
        return f"{what} {after[what][0]} cannot come after {before[what][0]}"

    def _is_next(self, row: Rows) -> bool:
        """Tell whether a line stands just where the one after the last is to be expected: it is hardly the bent one."""
        if not self._last.size or (self._time is not None and self._profile.period_us is None):
            return False
        counted = self._modulus is None or (row["counter"] - self._last["counter"]) % self._modulus == 1
        if self._time is None or self._profile.period_us is None:
            return bool(counted)
        return bool(counted) and bool(self._time_step_us(self._last, row)[0] <= 1.5 * self._profile.period_us)

    def _fits_after(self, before: Rows, row: Rows) -> bool:
        return not before.size or bool(self._follows(before, row).all())

    def _follows(self, before: Rows, after: Rows) -> NDArray[np.bool_]:
        """Tell for each pair of lines whether the second can come after the first, shape (N,)."""
        follows = self._counter_follows(before, after)
        if self._time is not None:
            step_us = self._time_step_us(before, after)
            follows &= (step_us >= 0) & (step_us <= LONGEST_GAP_US)
        return follows

    def _counter_follows(self, before: Rows, after: Rows) -> NDArray[np.bool_]:
        if self._modulus is None:
            return np.ones(len(after), np.bool_)
        step = (after["counter"] - before["counter"]) % self._modulus
        follows: NDArray[np.bool_] = (step >= 1) & (step <= min(self._modulus // 2, LONGEST_GAP_LINES))
        return follows

    def _time_step_us(self, before: Rows, after: Rows) -> NDArray[np.int64]:
        step_us: NDArray[np.int64] = after["time"] - before["time"]
        if self._wrap_us is not None:
            step_us = (step_us + self._wrap_us // 2) % self._wrap_us - self._wrap_us // 2
        return step_us

    def _accept(self, rows: Rows) -> list[LineItem]:
        """Number and date lines that are good, and say what is missing between them."""
        if not rows.size:
            return []
        first = not self._last.size
        if first and self._modulus is not None and not self._anew:
            self._next_number = int(rows["counter"][0])
        before = np.concatenate([rows[:1] if first else self._last, rows[:-1]])
        step = self._steps(before, rows)
        step[0] = 1 if first else step[0]
        number: NDArray[np.int64] = self._next_number - 1 + np.cumsum(step)
        tick_us = self._ticks(number, before, rows, first=first)
        self._last, self._next_number, self._tick_us = rows[-1:], int(number[-1]) + 1, int(tick_us[-1])
        lost: list[LineItem] = [
            LostLines(int(tick_us[at]), int(step[at]) - 1, f"{step[at] - 1} missing before sample {number[at]}")
            for at in np.flatnonzero(step > 1).tolist()
        ]
        samples = LineSamples(number, tick_us, rows["force"].copy(), rows["displacement"].copy())
        return [*lost, samples, *self._edges(rows, tick_us)]

    def _steps(self, before: Rows, rows: Rows) -> NDArray[np.int64]:
        """Return by how many samples each line is ahead of the one before."""
        if self._modulus is not None:
            return np.asarray((rows["counter"] - before["counter"]) % self._modulus, np.int64)
        if self._time is None or self._profile.period_us is None:
            return np.ones(len(rows), np.int64)
        periods = self._time_step_us(before, rows) / self._profile.period_us
        step: NDArray[np.int64] = np.where(periods > 1.5, np.rint(periods), 1.0).astype(np.int64)
        return step

    def _ticks(self, number: NDArray[np.int64], before: Rows, rows: Rows, *, first: bool) -> NDArray[np.int64]:
        if self._time is None:
            period_us = self._profile.period_us or 0.0  # the profile gives it if it has no time column
            reckoned: NDArray[np.int64] = np.rint(number * period_us).astype(np.int64)
            return reckoned
        start_us = int(rows["time"][0]) if first and not self._anew else self._tick_us
        ticks: NDArray[np.int64] = start_us + np.cumsum(self._time_step_us(before, rows))
        return ticks

    def _reckoned_us(self, number: int) -> int:
        return round(number * (self._profile.period_us or 0.0))

    def _edges(self, rows: Rows, tick_us: NDArray[np.int64]) -> list[LineEdges]:
        ticks, sources, states = [], [], []
        for name, source in (("foot_switch", Source.FOOT_SWITCH), ("contact", Source.CONTACT)):
            switch = getattr(self._profile, name)
            if switch is None:
                continue
            state = (rows[name] == switch.active).astype(np.uint8)
            before = np.concatenate([[self._switches.get(name, state[0])], state[:-1]])
            edges = np.flatnonzero(state != before)
            self._switches[name] = int(state[-1])
            ticks.append(tick_us[edges])
            sources.append(np.full(len(edges), source, np.uint8))
            states.append(state[edges])
        if not sum(map(len, ticks)):
            return []
        tick, source_of, byte = np.concatenate(ticks), np.concatenate(sources), np.concatenate(states)
        oldest_first = np.argsort(tick, kind="stable")
        return [LineEdges(tick[oldest_first], source_of[oldest_first], byte[oldest_first])]
