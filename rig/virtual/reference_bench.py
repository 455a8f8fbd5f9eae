"""The bench with reference objects beside the keyboard, and with sensors that are not what the rig states.

How it works: as `bench.py`, but the plunger may press on a reference instead of a key, and masses on the pan and a
finger push on the load cell whatever the plunger does. The frame gives more softly at first than when loaded, for
keys as for references. A reference stays where it was put: when carriage or person have gone to another key, that key
is under the plunger.

Not simulated: the pan's own weight (it is in the zero), the jolt of a mass put down, masses that move with the plunger.
"""

from __future__ import annotations

from math import inf

from rig.protocol.messages import Cause
from rig.virtual.bench import Bench, BenchSpec
from rig.virtual.frame import Reference
from rig.virtual.key_action import Contact
from rig.virtual.person import VirtualPerson
from rig.virtual.scenario import KeySpec
from rig.virtual.true_sensors import TrueSensors
from rig.virtual.workbench_file import WorkbenchSpec

NOTHING = Reference("nothing", inf)


class ReferenceBench(Bench):
    """A bench as `truth` says."""

    sensors: TrueSensors

    def __init__(
        self, spec: BenchSpec, keys: tuple[KeySpec, ...], person: VirtualPerson | None, truth: WorkbenchSpec
    ) -> None:
        super().__init__(spec, keys, person)
        self.truth = truth
        self.frame = truth.true_frame()
        self.contact = Contact(self.frame.stiffness_newton_per_mm, self.frame.stiffening_newton_per_mm2)
        self.sensors = TrueSensors(
            spec.sensors, truth.force, truth.displacement, sample_rate_hz=spec.sample_rate_hz, seed=spec.seed
        )
        self.under: Reference | None = None
        """What stands under the plunger; None: the key of the station."""
        self._put_at = self.station
        self.pan_newton = 0.0
        self.pressing_newton = 0.0
        """With what force the plunger pressed at the last sample."""
        self._finger_newton, self._finger_samples = 0.0, 0

    def put_under(self, reference: Reference) -> None:
        """Put a reference under the plunger."""
        self.under, self._put_at = reference, self.station

    def touch(self, newton: float, seconds: float) -> None:
        """Let a finger push the pan from now on, for some time."""
        self._finger_newton, self._finger_samples = newton, round(seconds * self.spec.sample_rate_hz)

    def carry_to(self, station: int) -> None:
        """Put the plunger over a key; a reference stays behind."""
        super().carry_to(station)
        self.under = None
        if self.person is not None:
            self.person.station = station

    def _nothing_happens(self) -> bool:
        """Tell that it never does: the cell creeps and masses lie on it even while nothing moves."""
        return False

    def _pass(self, steps: int, dt_s: float) -> tuple[float, float, Cause | None]:
        if self.station != self._put_at:
            self.under = None
        if self.under is not None:
            force, place, reached = self._press(self.under, steps, dt_s)
        elif self.person is None and self._key_rests():
            force, place, reached = 0.0, self.stage.plunger()[0], None
        else:
            force, place, reached = super()._pass(steps, dt_s)
        self.pressing_newton = force
        if self._finger_samples > 0:
            self._finger_samples -= 1
            force += self._finger_newton
        return force + self.pan_newton, place, reached

    def _press(self, reference: Reference, steps: int, dt_s: float) -> tuple[float, float, Cause | None]:
        """Do what `_pass` does with a reference in the place of the key."""
        reached, force, place = None, 0.0, 0.0
        for _ in range(steps):
            reached = self.stage.advance(dt_s) or reached
            place, _ = self.stage.plunger()
            force = self.frame.force_newton(place - reference.surface_mm, reference.softness_mm_per_newton)
            if self.person is not None:
                self.person.hand.feel(force)
        return force, place, reached


def make_bench(
    spec: BenchSpec, keys: tuple[KeySpec, ...], person: VirtualPerson | None, truth: WorkbenchSpec | None
) -> Bench:
    """Return a plain bench, or one with reference objects if it is said what is true of it."""
    return Bench(spec, keys, person) if truth is None else ReferenceBench(spec, keys, person, truth)
