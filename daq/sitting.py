"""One rig over one sitting: it is greeted, and greeted again when the cable was pulled or the rig has restarted.

How it works: a sitting owns what must outlive a cable: the tally of running numbers (so that what was lost while the
cable was out is counted) and the recorder. `connect` opens the port and greets; `reconnect` waits until the same rig
answers again, at the same path or, if it is on USB, wherever the system has put it now.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress

from daq.errors import DaqError, RigMisbehaved, WrongRig
from daq.guard import HostGuard
from daq.introduction import RigIntroduction
from daq.link import Link
from daq.port import DEFAULT_BAUD, open_port
from daq.recorder import News, Recorder
from daq.session import Session
from daq.tally import StreamTally
from daq.usb import paths_of, usb_identity
from recordings.types import RigInfo

TRY_EVERY_S = 0.2

Tell = Callable[[str], None]
"""Told, in a sentence, what has happened to the cable."""


class Sitting:
    """A rig at a port. Use it in a `with` block: whatever happens, the rig is told to stop and the port is closed."""

    def __init__(
        self, port_path: str, recorder: Recorder, *, baud: int = DEFAULT_BAUD, patience_s: float = 60.0
    ) -> None:
        """patience_s: how long to wait for a rig that was lost."""
        self._path, self._baud, self._patience_s = port_path, baud, patience_s
        self._usb = usb_identity(port_path)
        self.recorder = recorder
        self.tally = StreamTally(self._hear)
        self._link: Link | None = None
        self._guard: HostGuard | None = None
        self._session: Session | None = None
        self._rig: RigIntroduction | None = None

    def __enter__(self) -> Sitting:
        self._connect(self._path)
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        self._close()

    def stop(self) -> None:
        """Tell the rig to stop; may be called any number of times.

        If the cable is gone the rig's own watchdog stops it, and the error that came first is the one to tell.
        """
        if self._link is not None and self._session is not None:
            with suppress(DaqError):
                self._session.stop()

    @property
    def session(self) -> Session:
        """The conversation with the rig as it is now."""
        assert self._session is not None
        return self._session

    @property
    def rig(self) -> RigIntroduction:
        """What the rig says of itself."""
        assert self._rig is not None
        return self._rig

    @property
    def guard(self) -> HostGuard:
        """The host's own guard."""
        assert self._guard is not None
        return self._guard

    def expect(self, rig: RigInfo) -> None:
        """Raise WrongRig unless this is the rig that a recording was begun with."""
        if self.rig.info != rig:
            raise WrongRig(_name(self.rig.info), _name(rig))

    def reconnect(self, why: DaqError, tell: Tell) -> None:
        """Wait for the rig to come back. Raises `why` when patience is at its end, WrongRig if another one answers."""
        expected = self.rig.info
        tell(f"{why}; waiting up to {self._patience_s:g} s for the rig")
        give_up_s, ends_with = time.monotonic() + self._patience_s, why
        while time.monotonic() < give_up_s:
            self._close()
            for path in paths_of(self._path, self._usb):
                try:
                    self._connect(path)
                    self.expect(expected)
                except WrongRig as wrong:
                    ends_with = wrong
                except DaqError:
                    continue
                else:
                    tell(f"the rig answers again at {path}")
                    return
            time.sleep(TRY_EVERY_S)
        raise ends_with

    def _connect(self, path: str) -> None:
        self._link = Link(open_port(path, baud=self._baud), self._hear, self.tally)
        self._session = Session(self._link)
        try:
            self._rig = self._session.greet()
        except BaseException:
            with suppress(DaqError):  # it may still be at an earlier host's move
                self._session.stop_now()
            self._close()
            raise
        if self._rig.info.sample_rate_hz is None:
            raise RigMisbehaved("it does not say how many samples a second it sends")
        self._guard = HostGuard(self._rig.calibration, self._rig.travel_mm, self._session.stop_now)

    def _close(self) -> None:
        if self._link is not None:
            self._guard = None
            self._link.close()
            self._link = None

    def _hear(self, news: News) -> None:
        self.recorder.add(news)
        if self._guard is not None:
            self._guard.watch(news)


def _name(rig: RigInfo) -> str:
    return f"{rig.model} {rig.serial_number}"
