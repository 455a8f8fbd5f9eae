"""What can go wrong at the cable. Every text says whose fault it is and what to do.

DaqError
 +-- PortNotFound      (also OSError)       nothing can be opened at that path
 +-- PortLost          (also OSError)       the port was open and is gone
 +-- MidiPortNotFound  (also OSError)       no MIDI port of the host can be opened by that name
 +-- RigSilent         (also TimeoutError)  the port is open, the rig says nothing
 +-- RigBabbles                             bytes arrive, but nothing that can be understood
 +-- RigRestarted                           the rig has started anew and forgotten what it was doing
 +-- WrongRig                               another rig than the one that began the recording
 +-- RigMisbehaved                          the rig broke the protocol, or speaks another version
 +-- CommandRefused                         the rig says no to a command, and why
 +-- NoKeyUnderPlunger                      the approach found nothing to touch
 +-- NothingUnderPlunger                    a calibration found nothing to press on
 +-- NotPressed                             a press by hand was waited for in vain
 +-- ReadingLost                            samples are lost so often that no reading comes about
 +-- MalformedPlan     (also ValueError)    a programme or plan that people wrote does not say what it must
 +-- ProgrammeUnfit                         the rig cannot do what a stroke programme asks for
 +-- StoppedForSafety                       a guard of the rig, or of the host, has stopped the motion
"""

from __future__ import annotations


class DaqError(Exception):
    """Anything wrong between cable and recording."""


class PortNotFound(DaqError, OSError):
    """Nothing can be opened at that path."""

    def __init__(self, path: str, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"cannot open port {path!r} ({why}); check the cable, the name and who else is using it")


class PortLost(DaqError, OSError):
    """The port was open and is gone."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(f"the port is gone ({why}); check the cable, then go on; finished strokes are safe")


class MidiPortNotFound(DaqError, OSError):
    """No MIDI port of the host can be opened by that name."""

    def __init__(self, name: str, why: str, known: tuple[str, ...]) -> None:
        self.name, self.why, self.known = name, why, known
        there_are = f"ports here: {', '.join(map(repr, known))}" if known else "no MIDI ports are listed here"
        super().__init__(
            f"cannot open MIDI port {name!r} ({why}); {there_are}; or give tcp://host:port, or use the rig's MIDI input"
        )


class RigSilent(DaqError, TimeoutError):
    """The port is open, the rig says nothing."""

    def __init__(self, waited_for: str, seconds: float) -> None:
        self.waited_for, self.seconds = waited_for, seconds
        super().__init__(
            f"nothing heard for {seconds:.1f} s while waiting for {waited_for}; "
            "is this the rig's port, is it switched on, is the baud rate right?"
        )


class RigBabbles(DaqError):
    """Bytes arrive, but nothing that can be understood."""

    def __init__(self, byte_count: int, seconds: float) -> None:
        self.byte_count, self.seconds = byte_count, seconds
        super().__init__(
            f"{byte_count} bytes came in {seconds:.1f} s and none could be understood; "
            "is the baud rate right (write the port as PATH@BAUD), is this the rig's port, is the cable sound?"
        )


class RigRestarted(DaqError):
    """The rig has started anew and forgotten what it was doing."""

    def __init__(self) -> None:
        super().__init__("the rig has restarted in mid-work; look at its supply and cable; finished strokes are safe")


class WrongRig(DaqError):
    """Another rig than the one that began the recording."""

    def __init__(self, found: str, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(
            f"rig {found} answers, but the recording was begun with rig {expected}; connect that one, "
            "or make a recording of what there is with `keyplumb repair` and begin a new one"
        )


class RigMisbehaved(DaqError):
    """The rig broke the protocol: not the host's fault."""

    def __init__(self, what: str) -> None:
        self.what = what
        super().__init__(f"the rig does not keep to the protocol: {what}; check its firmware")


class CommandRefused(DaqError):
    """The rig says no to a command."""

    def __init__(self, command: str, reason: str) -> None:
        self.command, self.reason = command, reason
        super().__init__(f"the rig refuses {command}: {reason}")


class NoKeyUnderPlunger(DaqError):
    """The approach found nothing to touch."""

    def __init__(self, key_name: str, depth_mm: float) -> None:
        self.key_name, self.depth_mm = key_name, depth_mm
        super().__init__(
            f"no key under the plunger at {key_name} down to {depth_mm:g} mm; check place and height of the rig"
        )


class NothingUnderPlunger(DaqError):
    """A calibration found nothing to press on."""

    def __init__(self, what: str, depth_mm: float) -> None:
        self.what, self.depth_mm = what, depth_mm
        super().__init__(f"no {what} under the plunger down to {depth_mm:g} mm; put it there, or lower the rig")


class NotPressed(DaqError):
    """A press by hand was waited for in vain."""

    def __init__(self, seconds: float, state: str) -> None:
        self.seconds, self.state = seconds, state
        super().__init__(
            f"no whole press was seen within {seconds:.0f} s; asked was: {state}; "
            "does the force follow the hand (`keyplumb check --still`), and was the plunger let go in the air?"
        )


class ReadingLost(DaqError):
    """Samples are lost so often that no reading or press without a gap comes about."""

    def __init__(self, gaps: int, seconds: float) -> None:
        self.gaps, self.seconds = gaps, seconds
        super().__init__(
            f"samples were lost {gaps} times in {seconds:.0f} s, so there is no reading without a gap; "
            "mend the cable (`keyplumb check` tells what is lost), then calibrate"
        )


class MalformedPlan(DaqError, ValueError):
    """A programme or plan that people wrote does not say what it must."""

    def __init__(self, path: str, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}")


class ProgrammeUnfit(DaqError):
    """The rig cannot do what a stroke programme asks for; nothing was moved."""

    def __init__(self, programme: str, why: str) -> None:
        self.programme, self.why = programme, why
        super().__init__(f"programme {programme!r} does not fit this rig: {why}; change the programme")


class StoppedForSafety(DaqError):
    """A guard of the rig, or of the host, has stopped the motion."""

    def __init__(self, cause: str, *, by: str = "the rig stopped by itself") -> None:
        self.cause = cause
        super().__init__(f"{by}: {cause}; find out why before going on")


def not_heard(waited_for: str, seconds: float, bytes_without_sense: int) -> RigSilent | RigBabbles:
    """Return what to raise when nothing was understood for some time: bytes came all the same, or none did."""
    return RigBabbles(bytes_without_sense, seconds) if bytes_without_sense else RigSilent(waited_for, seconds)


CABLE_TROUBLE = (PortLost, RigSilent, RigBabbles, RigRestarted)
"""What may pass if the cable is put back: the key in hand is then begun again."""
