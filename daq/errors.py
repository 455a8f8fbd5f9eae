"""What can go wrong at the cable. Every text says whose fault it is and what to do.

DaqError
 +-- PortNotFound      (also OSError)       nothing can be opened at that path
 +-- PortLost          (also OSError)       the port was open and is gone
 +-- MidiPortNotFound  (also OSError)       no MIDI port of the host can be opened by that name
 +-- RigSilent         (also TimeoutError)  the port is open, the rig says nothing
 +-- RigMisbehaved                          the rig broke the protocol, or speaks another version
 +-- CommandRefused                         the rig says no to a command, and why
 +-- NoKeyUnderPlunger                      the approach found nothing to touch
 +-- StoppedForSafety                       a guard of the rig has stopped the motion
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


class StoppedForSafety(DaqError):
    """A guard of the rig has stopped the motion."""

    def __init__(self, cause: str) -> None:
        self.cause = cause
        super().__init__(f"the rig stopped by itself: {cause}; find out why before going on")
