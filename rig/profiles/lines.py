"""Bytes -> samples, for rigs that print lines. No port, no clock.

How it works: whole lines are held against one pattern made from the profile; those that fit are turned into numbers
together, and `line_order.py` numbers them and finds what was lost. A line that does not fit comes out as DamagedLine
with the reason and is never repaired. CR, LF and CRLF all end a line; empty lines and comments are passed over.

What comes before the first line end is passed over too: whoever opens the port comes in the middle of a line, and the
rest of `123.5` may be `3.5`. A line carries no check sum: a digit bent into another digit cannot be seen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rig.profiles.line_items import DamagedLine, LineItem
from rig.profiles.line_order import LineOrder, no_rows
from rig.profiles.profile import Profile

LONGEST_LINE = 1024
"""Bytes before the line end; more is noise, or a wrong baud rate."""
MOST_INT32 = 2**31 - 1
LONGEST_US = 4e15
"""More than a century: microseconds since 1970 are fine."""
SEPARATORS = {",": b",", ";": b";", "tab": b"\t", "spaces": b" "}
NO_TEXT = re.compile(rb"[^\x20-\x7e\t]")
SHOWN = 24
"""So much of a bad cell is quoted."""


@dataclass(frozen=True, slots=True)
class _Cell:
    """How one column is read: kept = printed * factor, between lowest and highest."""

    name: str
    column: int
    pattern: bytes
    what: str
    factor: float
    lowest: float
    highest: float


class LineDecoder:
    """Turns received bytes, in pieces of any size, into samples, edges and damage; never raises.

    Memory is bounded by LONGEST_LINE and by the piece that is fed.
    """

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._cells = _cells(profile)
        self._pattern = re.compile(_line_pattern(profile, self._cells))
        self._comments = tuple(prefix.encode() for prefix in profile.comments)
        self._order = LineOrder(profile)
        self._waiting, self._thrown_away, self._in_step = b"", 0, False

    def feed(self, received: bytes) -> list[LineItem]:
        """Return everything that `received` completes, in the order it was sent.

        If the profile has a counter or a time stamp the newest line is held back until the next one confirms it.
        """
        items: list[LineItem] = []
        batch: list[tuple[bytes, ...]] = []
        lengths: list[int] = []
        for line in self._cut(received):
            if isinstance(line, bytes) and (fit := self._pattern.fullmatch(line)):
                batch.append(fit.groups())
                lengths.append(len(line))
                continue
            items += self._numbers(batch, lengths)
            batch, lengths = [], []
            damage = line if isinstance(line, DamagedLine) else DamagedLine(len(line), self._reason(line))
            items += self._order.damaged(damage)
        return items + self._numbers(batch, lengths)

    def reopen(self) -> None:
        """Be ready for another opening of the port: it comes in the middle of a line again; numbers and time go on."""
        self._waiting, self._thrown_away, self._in_step = b"", 0, False

    def close(self) -> list[LineItem]:
        """Return what was held back; a line that has not ended is left out."""
        return self._order.close()

    def _cut(self, received: bytes) -> list[bytes | DamagedLine]:
        """Return the lines that have ended and mean something."""
        *ended, self._waiting = (self._waiting + received).replace(b"\r", b"\n").split(b"\n")
        lines: list[bytes | DamagedLine] = []
        for line in ended:
            length, self._thrown_away = self._thrown_away + len(line), 0
            begun, self._in_step = self._in_step, True
            if length > LONGEST_LINE:
                lines.append(DamagedLine(length, f"no line end within {LONGEST_LINE} bytes"))
            elif begun and (text := line.strip(b" \t")) and not text.startswith(self._comments):
                lines.append(line)
        if len(self._waiting) > LONGEST_LINE:
            self._thrown_away += len(self._waiting)
            self._waiting = b""
        return lines

    def _numbers(self, batch: list[tuple[bytes, ...]], lengths: list[int]) -> list[LineItem]:
        """Return what lines that fit the pattern amount to; a value that is too large is damage after all."""
        if not batch:
            return []
        rows, doubts = no_rows(len(batch)), dict[int, str]()
        rows["length"] = lengths
        for cell, printed in zip(self._cells, zip(*batch, strict=True), strict=True):
            kept = np.rint(self._values(printed) * cell.factor)
            fits = (kept >= cell.lowest) & (kept <= cell.highest)
            for row in np.flatnonzero(~fits).tolist():
                doubts.setdefault(row, f"column {cell.column} ({cell.name}): {_shown(printed[row])} is out of range")
            rows[cell.name] = np.where(fits, kept, 0)
        items: list[LineItem] = []
        start = 0
        for row, reason in sorted(doubts.items()):
            items += self._order.take(rows[start:row])
            items += self._order.damaged(DamagedLine(lengths[row], reason))
            start = row + 1
        return items + self._order.take(rows[start:])

    def _values(self, printed: tuple[bytes, ...]) -> NDArray[np.float64]:
        if self._profile.decimal == ",":
            printed = tuple(cell.replace(b",", b".") for cell in printed)
        return np.array([float(cell) for cell in printed])

    def _reason(self, line: bytes) -> str:
        """Say what is wrong with a line that does not fit the pattern."""
        alien = NO_TEXT.search(line)
        if alien:
            return f"byte 0x{alien[0][0]:02x} is no text"
        separator = self._profile.separator
        parts = line.split() if separator == "spaces" else line.split(SEPARATORS[separator])
        if len(parts) != self._profile.columns:
            return f"{len(parts)} columns, not {self._profile.columns}"
        for cell in self._cells:
            part = parts[cell.column - 1].strip(b" \t")
            if not re.fullmatch(cell.pattern, part):
                return f"column {cell.column} ({cell.name}): {_shown(part)} is {cell.what}"
        return "not made as the profile says"


def _shown(cell: bytes) -> str:
    text = cell.decode("ascii")
    return repr(text if len(text) <= SHOWN else text[:SHOWN] + "...")


def _line_pattern(profile: Profile, cells: tuple[_Cell, ...]) -> bytes:
    """Return the pattern of a whole line, with one group for every column that means something."""
    separator = SEPARATORS[profile.separator]
    spaces = profile.separator == "spaces"
    blank = b"" if spaces else b" *" if separator == b"\t" else rb"[ \t]*"
    unread = rb"[^%b\x00-\x08\x0a-\x1f\x7f-\xff]%b" % ((rb" \t", b"+") if spaces else (separator, b"*"))
    parts = [unread] * profile.columns
    for cell in cells:
        parts[cell.column - 1] = b"%b(%b)%b" % (blank, cell.pattern, blank)
    return rb"[ \t]*%b[ \t]*" % rb"[ \t]+".join(parts) if spaces else separator.join(parts)


def _cells(profile: Profile) -> tuple[_Cell, ...]:
    """Return how the columns that mean something are read, from left to right."""
    point = re.escape(profile.decimal.encode())
    number = rb"[+-]?(?:\d+(?:%b\d*)?|%b\d+)(?:[eE][+-]?\d{1,3})?" % (point, point)
    whole = rb"[+-]?\d{1,20}"
    cells = []
    if (time := profile.time) is not None:
        wrap_us = time.wraps_at and time.wraps_at * time.us_per_unit
        span = (0.0, wrap_us - 1.0) if wrap_us else (-LONGEST_US, LONGEST_US)
        cells.append(_Cell("time", time.column, number, "no number", float(time.us_per_unit), *span))
    for name, sensor in (("force", profile.force), ("displacement", profile.displacement)):
        counts = sensor.counts_per_unit is not None
        pattern, what = (whole, "no whole number") if counts else (number, "no number")
        cells.append(_Cell(name, sensor.column, pattern, what, sensor.kept_per_printed, -MOST_INT32 - 1.0, MOST_INT32))
    if (counter := profile.counter) is not None:
        cells.append(_Cell("counter", counter.column, rb"\d{1,20}", "no whole number", 1.0, 0.0, counter.modulus - 1.0))
    for name, switch in (("foot_switch", profile.foot_switch), ("contact", profile.contact)):
        if switch is not None:
            cells.append(_Cell(name, switch.column, rb"[01]", "neither 0 nor 1", 1.0, 0.0, 1.0))
    return tuple(sorted(cells, key=lambda cell: cell.column))
