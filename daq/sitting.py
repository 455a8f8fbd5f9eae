"""One rig over one sitting: it is met, and met again when the cable was pulled or the rig has restarted.

How it works: a sitting owns what must outlive a cable: the running numbers (so that what was lost while the cable was
out is counted), the clock's fit, the host's MIDI port and the recorder. `reconnect` waits until the same rig answers
again, at the same path or, if it is on USB, wherever the system has put it now. There are two kinds: a `RigSitting`
speaks the protocol, a `LineSitting` only listens to a rig that prints lines.
"""

from __future__ import annotations

import json
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import asdict
from typing import Self

from daq.clock_fit import ClockFit, ClockWatch
from daq.errors import DaqError, RigMisbehaved, WrongRig
from daq.guard import HostGuard
from daq.host_midi import HostMidi, open_midi
from daq.introduction import RigIntroduction
from daq.line_link import LineLink, introduce
from daq.line_session import LineSession
from daq.link import Link
from daq.port import open_port
from daq.recorder import News, Recorder
from daq.session import Session
from daq.tally import StreamTally
from daq.usb import paths_of, usb_identity
from recordings.types import Damage, RawTrace, RigInfo
from rig.profiles.profile import Profile

TRY_EVERY_S = 0.2
INSTRUMENT_LATENCY_MS = 5.0
"""What passes in an instrument between contact and MIDI message: the bound that is used for the rig's own input too."""

Tell = Callable[[str], None]
"""Told, in a sentence, what has happened to the cable."""


class Sitting(ABC):
    """A rig at a port. Use it in a `with` block: whatever happens, the rig is told to stop and the port is closed."""

    session: Session | LineSession
    rig: RigIntroduction

    def __init__(self, port_path: str, recorder: Recorder, *, patience_s: float, midi: str | None = None) -> None:
        """patience_s: how long to wait for a rig that was lost; midi: a MIDI port of the host to listen to."""
        self._path, self._patience_s, self._midi_name = port_path, patience_s, midi
        self._usb = usb_identity(port_path)
        self.recorder = recorder
        self.clock = ClockWatch()
        self._midi: HostMidi | None = None
        self._open = ExitStack()
        self._met = False
        self.samples_heard = self.samples_lost = 0

    def __enter__(self) -> Self:
        with ExitStack() as stack:
            if self._midi_name is not None:
                self._midi = stack.enter_context(HostMidi(open_midi(self._midi_name), self.recorder.add, self.clock))
            self._connect(self._path)
            self._met = True
            stack.callback(self._disconnect)
            self._open = stack.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()
        self._open.close()

    @abstractmethod
    def _connect(self, path: str) -> None:
        """Open the port, meet the rig and set `session` and `rig`. Raises DaqError, and then the port is closed."""

    @abstractmethod
    def _disconnect(self) -> None:
        """Close the port; harmless if it is closed."""

    def stop(self) -> None:
        """Tell the rig to stop; may be called any number of times.

        If the cable is gone the rig's own watchdog stops it, and the error that came first is the one to tell.
        """
        if self._met:
            with suppress(DaqError):
                self.session.stop()

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
            self._disconnect()
            for path in paths_of(self._path, self._usb):
                try:
                    self._connect(path)
                    self.expect(expected)
                except (WrongRig, RigMisbehaved) as trouble:  # more to the point than the cable that was lost at first
                    ends_with = trouble
                except DaqError:
                    continue
                else:
                    tell(f"the rig answers again at {path}")
                    return
            time.sleep(TRY_EVERY_S)
        raise ends_with

    def write_clock(self) -> None:
        """Keep in the diary how the rig's clock runs against this computer's, and how late MIDI at the host may be."""
        fit = self.clock.fit()
        if fit is not None:
            self.recorder.write_diary("clock", _clock_in_words(fit), json.dumps(asdict(fit)))
        if self._midi is not None and self._midi.latency_bound_ms is not None:
            bound_ms = INSTRUMENT_LATENCY_MS + self._midi.latency_bound_ms
            text = f"notes through MIDI port {self._midi_name} are stamped at most {bound_ms:.1f} ms late"
            self.recorder.write_diary("midi", text, json.dumps({"note_latency_bound_ms": bound_ms}))

    def _hear(self, news: News) -> None:
        if isinstance(news, RawTrace):
            self.samples_heard += len(news)
            self.clock.add(time.monotonic(), int(news.tick_us[-1]))
        elif isinstance(news, Damage) and news.kind == "lost_samples":
            self.samples_lost += news.amount
        self.recorder.add(news)


class RigSitting(Sitting):
    """A rig that speaks the protocol."""

    session: Session

    def __init__(
        self, port_path: str, recorder: Recorder, *, patience_s: float = 60.0, midi: str | None = None
    ) -> None:
        super().__init__(port_path, recorder, patience_s=patience_s, midi=midi)
        self._tally = StreamTally(self._hear)
        self._link: Link | None = None
        self.guard: HostGuard | None = None
        """The host's own guard; None as long as no rig has been greeted."""

    def _connect(self, path: str) -> None:
        self._link = Link(open_port(path), self._hear_guarded, self._tally)
        self.session = Session(self._link)
        try:
            self.rig = self.session.greet()
        except BaseException:
            with suppress(DaqError):  # it may still be at an earlier host's move
                self.session.stop_now()
            self._disconnect()
            raise
        if self.rig.info.sample_rate_hz is None:
            raise RigMisbehaved("it does not say how many samples a second it sends")
        self.guard = HostGuard(self.rig.calibration, self.rig.travel_mm, self.session.stop_now)

    def _disconnect(self) -> None:
        if self._link is not None:
            self.guard = None
            self._link.close()
            self._link = None

    def _hear_guarded(self, news: News) -> None:
        self._hear(news)
        if self.guard is not None:
            self.guard.watch(news)


class LineSitting(Sitting):
    """A rig that only prints lines, as its profile says."""

    session: LineSession

    def __init__(
        self,
        port_path: str,
        recorder: Recorder,
        profile: Profile,
        *,
        patience_s: float = 60.0,
        midi: str | None = None,
    ) -> None:
        super().__init__(port_path, recorder, patience_s=patience_s, midi=midi)
        self._profile = profile
        self.rig = introduce(profile)
        self._link: LineLink | None = None

    def _connect(self, path: str) -> None:
        decoder = self._link.decoder if self._link is not None else None
        self._link = LineLink(open_port(path, baud=self._profile.baud), self._hear, self._profile, decoder)
        self.session = LineSession(self._link)
        try:
            self.session.wait_for_samples()
        except BaseException:
            self._disconnect()
            raise

    def _disconnect(self) -> None:
        if self._link is not None:
            self._link.close()


def _name(rig: RigInfo) -> str:
    return " ".join(part for part in (rig.model, rig.serial_number) if part) or "without a name"


def _clock_in_words(fit: ClockFit) -> str:
    if fit.drift_ppm is None or fit.drift_u_ppm is None:
        return f"the rig's clock ran {fit.rate:.2f} times as fast as this computer's: it was played fast or slow"
    return f"the rig's clock ran {fit.drift_ppm:+.1f} +- {fit.drift_u_ppm:.1f} ppm against this computer's"
