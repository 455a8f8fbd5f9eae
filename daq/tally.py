"""What should come next on the cable: running numbers compared with the expected ones, so that every loss is counted.

How it works: frames, samples and events each carry a running number. A step forward is a loss of that many; a step
back is something that came twice or late and is left out, so that what is kept and what is told lost always add up to
what was sent. A tally outlives a link: after the cable was unplugged the same one goes on, and the gap is counted too.
When the rig has restarted its clock and its frame numbers begin anew; its sample and event numbers go on.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from daq.clock import Unwrapper
from recordings.types import Damage, RawEvents, RawTrace
from rig.protocol.messages import EventBlock, Hello, SampleBlock, StreamEnd

SEQUENCE_WRAP, NUMBER_WRAP = 1 << 16, 1 << 32
LATE_SAMPLES = 1000
"""A second at 1 kHz; nothing on a cable comes later than that."""


class StreamTally:
    """The expected numbers of one rig. `tell` receives every Damage."""

    def __init__(self, tell: Callable[[Damage], None]) -> None:
        self._tell = tell
        self._expected: dict[str, int] = {}
        self._ticks, self._numbers = Unwrapper(), Unwrapper()
        self._start_count: int | None = None
        self.last_tick_us = 0
        """The rig's clock at the newest sample."""

    def frame_is_news(self, sequence: int, count: int = 1) -> bool:
        """Count a frame, or some in a row; False: they came twice or late."""
        return self._is_news("lost_frames", sequence, count, SEQUENCE_WRAP)

    def damaged(self, length: int, reason: str) -> None:
        """Tell of bytes that made no frame."""
        self._tell(Damage(self.last_tick_us, "damaged_bytes", length, reason))

    def trace(self, block: SampleBlock) -> RawTrace | None:
        """Return a block's samples, None if they were heard before."""
        samples = block.samples
        if not self._is_news("lost_samples", block.first_sample_number, len(samples), NUMBER_WRAP) or not len(samples):
            return None
        ticks = self._ticks.unwrap_all(samples["tick_us"])
        self.last_tick_us = int(ticks[-1])
        numbers = self._numbers.unwrap(block.first_sample_number) + np.arange(len(samples), dtype=np.int64)
        return RawTrace(
            numbers,
            ticks,
            np.ascontiguousarray(samples["force_counts"]),
            np.ascontiguousarray(samples["displacement_counts"]),
        )

    def events(self, block: EventBlock) -> RawEvents | None:
        """Return a block's events, None if they were heard before."""
        if not self._is_news("lost_events", block.first_event_number, len(block.events), NUMBER_WRAP):
            return None
        ticks = np.array([self._ticks.unwrap(int(tick)) for tick in block.events["tick_us"]], np.int64)
        return RawEvents(ticks, block.events["source"].copy(), block.events["byte"].copy())

    def greeted(self, hello: Hello) -> bool:
        """Take note of a rig that says who it is; True: it has restarted since it was last heard."""
        restarted = self._start_count not in (None, hello.start_count) or self._goes_far_back(hello)
        self._start_count = hello.start_count
        if restarted:
            self._expected.pop("lost_frames", None)
            self._ticks.restart()
            self._tell(Damage(self.last_tick_us, "rig_restarted", 1, self._after_restart(hello)))
        self._would_come_next(hello)
        return restarted

    def _goes_far_back(self, hello: Hello) -> bool:
        """Tell a rig that counts from 0 again, its starts too, from a Hello that came twice or a little late."""
        expected = self._expected.get("lost_samples", hello.next_sample_number)
        behind = (expected - hello.next_sample_number) % NUMBER_WRAP
        return LATE_SAMPLES < behind < NUMBER_WRAP // 2

    def _after_restart(self, hello: Hello) -> str:
        expected = self._expected.get("lost_samples", 0)
        if (hello.next_sample_number - expected) % NUMBER_WRAP < NUMBER_WRAP // 2:
            return f"start number {hello.start_count}"
        self._expected.clear()  # a rig without kept memory counts from 0 again
        self._numbers.restart()
        return f"start number {hello.start_count}; it has forgotten its numbers: what was lost just before is not known"

    def ended(self, end: StreamEnd) -> None:
        """Take note of the end of a stream."""
        self._would_come_next(end)

    def _would_come_next(self, said: Hello | StreamEnd) -> None:
        self._is_news("lost_samples", said.next_sample_number, 0, NUMBER_WRAP)
        self._is_news("lost_events", said.next_event_number, 0, NUMBER_WRAP)

    def _is_news(self, kind: str, number: int, count: int, wrap: int) -> bool:
        expected = self._expected.get(kind, number)
        ahead = (number - expected + wrap // 2) % wrap - wrap // 2
        if ahead < 0:
            self._tell(Damage(self.last_tick_us, "repeated_or_late", 1, f"number {number} after {expected - 1}"))
            return False
        self._expected[kind] = (number + count) % wrap
        if ahead:
            self._tell(Damage(self.last_tick_us, kind, ahead, f"{ahead} missing before number {number}"))
        return True
