"""The parts of a key action that push against the finger, each with its own memory.

Every element answers `force(key_mm)`: the force in N with which it resists at this place on the way (positive: against
the finger). Elements with hysteresis remember where they have been, so they must be asked in the order of the motion.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, exp, pi, sin


@dataclass(frozen=True, slots=True, kw_only=True)
class LetOffSpec:
    """A ridge: raised-cosine rise of rise_mm up to the crest, raised-cosine fall of fall_mm after it."""

    crest_mm: float
    height_newton: float
    rise_mm: float
    fall_mm: float
    return_newton: float
    """Depth of the dip on the way up, where the mechanism climbs the ridge from behind."""


class LetOff:
    """The mechanism rides over the ridge, trips, and is set again only when the key has come back before it."""

    def __init__(self, spec: LetOffSpec) -> None:
        self.spec = spec
        self.tripped = False

    def force(self, key_mm: float) -> float:
        """Return the ridge's force; tripping and setting happen where both branches are zero, so nothing jumps."""
        spec = self.spec
        starts, ends = spec.crest_mm - spec.rise_mm, spec.crest_mm + spec.fall_mm
        if key_mm <= starts:
            self.tripped = False
            return 0.0
        if key_mm >= ends:
            self.tripped = True
            return 0.0
        if self.tripped:
            return -spec.return_newton * sin(pi * (key_mm - starts) / (ends - starts)) ** 2
        width = spec.rise_mm if key_mm < spec.crest_mm else spec.fall_mm
        return spec.height_newton * 0.5 * (1.0 + cos(pi * (key_mm - spec.crest_mm) / width))


@dataclass(frozen=True, slots=True, kw_only=True)
class DamperSpec:
    """A weight taken up over width_mm from start_mm on; height 0 means the key has no damper."""

    start_mm: float
    width_mm: float
    height_newton: float


class Damper:
    """The key picks up its damper part-way down."""

    def __init__(self, spec: DamperSpec) -> None:
        self.spec = spec

    def force(self, key_mm: float) -> float:
        """Return the damper's share: 0 before, the full height after, a cosine ramp between."""
        way = (key_mm - self.spec.start_mm) / self.spec.width_mm
        if way <= 0.0:
            return 0.0
        if way >= 1.0:
            return self.spec.height_newton
        return self.spec.height_newton * 0.5 * (1.0 - cos(pi * way))


@dataclass(frozen=True, slots=True, kw_only=True)
class FeltSpec:
    """F = K d^p while the felt is pressed further than before; a steeper power on the way back from that peak.

    Exponents: Boutillon, J. Acoust. Soc. Am. 83:746 (1988), measured on hammer felt; no stiffness of a key-bed punching
    was found published, so the stiffness is invented.
    """

    start_mm: float
    stiffness: float
    """K, in N / mm^load_exponent."""
    load_exponent: float = 2.1
    unload_exponent: float = 3.5


class Felt:
    """The key-bed felt: loses a share of the work put into it, 1 - (p + 1) / (q + 1) over a whole loop."""

    def __init__(self, spec: FeltSpec) -> None:
        self.spec = spec
        self.deepest_mm = 0.0

    def force(self, key_mm: float) -> float:
        """Return the felt's force; the felt has recovered as soon as the key has left it."""
        spec, depth = self.spec, key_mm - self.spec.start_mm
        if depth <= 0.0:
            self.deepest_mm = 0.0
            return 0.0
        if depth >= self.deepest_mm:
            self.deepest_mm = depth
            return float(spec.stiffness * depth**spec.load_exponent)
        peak = spec.stiffness * self.deepest_mm**spec.load_exponent
        return float(peak * (depth / self.deepest_mm) ** spec.unload_exponent)


class RestStop:
    """The stop under which a key rests: pushes it down again while it is above 0."""

    def __init__(self, stiffness_newton_per_mm: float) -> None:
        self.stiffness_newton_per_mm = stiffness_newton_per_mm

    def force(self, key_mm: float) -> float:
        """Return the stop's force: negative (it helps the finger) above 0, nothing below."""
        return self.stiffness_newton_per_mm * key_mm if key_mm < 0.0 else 0.0


class StickBond:
    """The cloth of a resting key clings: a bond that stretches, gives way, and forms again at rest."""

    def __init__(self, strength_newton: float, length_mm: float, forms_below_mm: float = 0.02) -> None:
        self.strength_newton = strength_newton
        self.length_mm = length_mm
        self.forms_below_mm = forms_below_mm
        self.whole = True

    def force(self, key_mm: float) -> float:
        """Return S u exp(1 - u) with u = way / length: largest, S, at one length; given way after eight."""
        if key_mm <= 0.0:
            self.whole = True
            return 0.0
        way = key_mm / self.length_mm
        if way > 8.0:
            self.whole = False
        if not self.whole:
            self.whole = key_mm < self.forms_below_mm
            return 0.0
        return self.strength_newton * way * exp(1.0 - way)


class Grit:
    """Dirt between the sliding parts: the grip changes along the way by a few sines of random phase."""

    def __init__(self, share: float, phases: tuple[float, ...]) -> None:
        self.share = share
        self.phases = phases
        self._waves = tuple((2.0 * pi / (0.37 + 0.11 * n), phase) for n, phase in enumerate(phases))

    def grip(self, key_mm: float) -> float:
        """Return the factor on the friction at this place: 1 on clean parts."""
        if not self.share:
            return 1.0
        rough = sum(sin(wave * key_mm + phase) for wave, phase in self._waves) / len(self._waves)
        return max(0.0, 1.0 + self.share * rough)
