"""The conversation with a rig that only prints lines: there is none, one can only listen.

How it works: it has the words of `session.py` that make sense without a motor, so that a survey by hand need not know
which kind of rig it listens to.
"""

from __future__ import annotations

import time

from daq.errors import not_heard
from daq.line_link import LineLink

SILENT_AFTER_S = 2.0
POLL_S = 0.02


class LineSession:
    """One rig that prints lines at the other end of a link."""

    def __init__(self, link: LineLink) -> None:
        self._link = link

    def wait_for_samples(self) -> None:
        """Wait for the first line that can be read. Raises RigSilent, RigBabbles or PortLost."""
        began_s = time.monotonic()
        while self._link.heard_at_s <= began_s:
            self.attend(POLL_S)

    def start_stream(self) -> None:
        """Do nothing: such a rig prints from the moment it has power."""

    def stop_stream(self) -> None:
        """Do nothing: it cannot be told."""

    def stop(self) -> None:
        """Do nothing: it moves nothing."""

    def cue(self, station: int, *, good: int, wanted: int, verdict: int) -> None:
        """Do nothing: it shows nothing."""

    def attend(self, seconds: float) -> None:
        """Let some time pass. Raises RigSilent, RigBabbles or PortLost when the rig is not heard any more."""
        time.sleep(seconds)
        self._link.check()
        silent_s = time.monotonic() - self._link.heard_at_s
        if silent_s > SILENT_AFTER_S:
            raise not_heard("lines", silent_s, self._link.bytes_without_sense)
