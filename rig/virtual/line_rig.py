"""A virtual rig that only prints lines: the bench of `bench.py`, its samples as the lines of a profile.

How it works: like the firmware in `virtual_rig.py` it is told the time and prints what falls due; it hears nothing. A
person presses, if there is one; otherwise nobody moves its plunger but whoever holds `bench`. Its contact column is
closed from the place where the key says its note-on to that of its note-off, without latency; its foot switch is
pressed while the person's foot is on it.

Not simulated: lines that are lost or bent on the way, a clock that is off, bounce of contact and switch.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rig.errors import MalformedProfile
from rig.profiles.line_encoder import LineEncoder, Switches
from rig.profiles.profile import Profile
from rig.protocol.messages import Source
from rig.virtual.bench import BenchSpec
from rig.virtual.notes import NoteSensor, NoteSpec
from rig.virtual.person import VirtualPerson
from rig.virtual.reference_bench import make_bench
from rig.virtual.scenario import KeySpec
from rig.virtual.workbench import Workbench
from rig.virtual.workbench_file import WorkbenchSpec

BLOCK = 50
"""Samples that are made together."""
DEFAULT_RATE_HZ = 1000.0
"""Of a profile that leaves the rate to its time stamps."""
INT32 = np.iinfo(np.int32)


class LineRig:
    """A rig with a keyboard under it that prints lines from the start."""

    def __init__(
        self,
        keys: tuple[KeySpec, ...],
        profile: Profile,
        spec: BenchSpec | None = None,
        person: VirtualPerson | None = None,
        workbench: WorkbenchSpec | None = None,
    ) -> None:
        """spec: its sample rate must be the profile's. Raises MalformedProfile if it is not."""
        rate_hz = profile.rate_hz or DEFAULT_RATE_HZ
        spec = spec or BenchSpec(sample_rate_hz=round(rate_hz))
        if spec.sample_rate_hz != rate_hz:
            why = f"{rate_hz:g} cannot be played, this virtual bench makes {spec.sample_rate_hz} samples a second"
            raise MalformedProfile(profile.name, None, "rate_hz", why)
        self.profile = profile
        self.bench = make_bench(spec, keys, person, workbench)
        self.workbench = Workbench.of(self.bench)
        self.foot_switch_pressed = False
        self._encoder = LineEncoder(profile)
        self._now_us = self._sample_number = 0
        self._contacts = {
            number: _Contact(key.notes.spec, key.notes.midi_note) for number, key in self.bench.keys.items()
        }
        for number, key in self.bench.keys.items():
            key.notes = self._contacts[number]

    def receive(self, received: bytes, now_us: int) -> bytes:  # noqa: ARG002 - the surface of VirtualRig
        """Let time pass up to now_us and return the lines printed in it; what the host says is not heard."""
        return self.advance(now_us)

    def advance(self, now_us: int) -> bytes:
        """Let time pass up to now_us and return the lines printed in it. Time told must not go back."""
        period, printed = self.bench.sample_period_us, b""
        while (due := (now_us - self._now_us) // period) > 0:
            printed += self._run(min(due, BLOCK))
        return printed

    def _run(self, count: int) -> bytes:
        period = self.bench.sample_period_us
        samples = self.bench.make_samples(count, self._now_us + period, lambda *_: None)
        tick_us = self._now_us + period * np.arange(1, count + 1, dtype=np.int64)
        number = self._sample_number + np.arange(count, dtype=np.int64)
        self._now_us, self._sample_number = int(tick_us[-1]), self._sample_number + count
        sensors, profile = self.bench.spec.sensors, self.profile
        force_newton = samples["force_counts"] / sensors.force_counts_per_newton
        displacement_mm = samples["displacement_counts"] / sensors.displacement_counts_per_mm
        return self._encoder.encode(
            number,
            tick_us,
            _kept(force_newton, profile.force.kept_per_newton_or_mm, profile.force.zero_counts),
            _kept(displacement_mm, profile.displacement.kept_per_newton_or_mm, profile.displacement.zero_counts),
            Switches(self._foot_at(tick_us), self._contact_at(tick_us)),
        )

    def _foot_at(self, tick_us: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Return 1 for each sample at which a foot is on the switch, shape (N,)."""
        state = np.full(len(tick_us), self.foot_switch_pressed, np.uint8)
        events = self.bench.events_until(int(tick_us[-1]))
        for event in events[events["source"] == Source.FOOT_SWITCH]:
            state[tick_us >= int(event["tick_us"])] = event["byte"]
            self.foot_switch_pressed = bool(event["byte"])
        return state

    def _contact_at(self, tick_us: NDArray[np.int64]) -> NDArray[np.uint8]:
        """Return 1 for each sample at which the contact of the key under the plunger is closed, shape (N,)."""
        contact = self._contacts[self.bench.station]
        state = np.full(len(tick_us), contact.closed_before, np.uint8)
        for edge_us, closed in contact.take_edges():
            state[tick_us >= edge_us] = closed
        return state


class _Contact(NoteSensor):
    """A contact in the place of a note sensor: closed from note-on to note-off, at once, and without any MIDI."""

    def __init__(self, spec: NoteSpec, midi_note: int) -> None:
        super().__init__(spec, midi_note)
        self.closed_before = False
        self._edges: list[tuple[int, bool]] = []

    def watch(self, key_mm: float, now_us: int) -> list[tuple[int, int]]:
        """Take note of an edge; there are no bytes to be sent."""
        before = self.sounding
        super().watch(key_mm, now_us)
        if self.sounding != before:
            self._edges.append((now_us, self.sounding))
        return []

    def take_edges(self) -> list[tuple[int, bool]]:
        """Return and forget the edges so far, as (tick_us, closed)."""
        edges, self._edges, self.closed_before = self._edges, [], self.sounding
        return edges


def _kept(value: NDArray[np.float64], kept_per_unit: float, zero_counts: int) -> NDArray[np.int32]:
    """Return what the rig prints of newtons or millimetres, in whole counts or steps, cut off where 32 bits end."""
    kept = np.rint(value * kept_per_unit) + zero_counts
    counts: NDArray[np.int32] = np.clip(kept, INT32.min, INT32.max).astype(np.int32)
    return counts
