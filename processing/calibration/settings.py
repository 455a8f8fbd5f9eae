"""Every knob of the calibrations: unit, default, reason. Saved with the results."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What acts on every mass alike."""

    air_density_kg_per_m3: float = 1.2
    """The density at which conventional mass is defined; air at sea level is near it."""
    air_density_limit_share: float = 0.10
    """Weather and rooms up to some hundred metres of height stay within 10 %; taken as rectangular."""
    tilt_limit_deg: float = 1.0
    """What a spirit level shows at a glance; rectangular, makes forces 0.005 % small on average."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GravitySettings:
    """How well local gravity is known from a place on the map."""

    anomaly_share: float = 1e-4
    """Standard uncertainty of normal for true gravity: anomalies stay within a few 1e-4 (common knowledge)."""
    latitude_u_deg: float = 0.05
    """About 6 km: a town."""
    height_u_m: float = 30.0
    """A map's contour and some floors of a house."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DegreeSettings:
    """When a parabola is believed rather than a straight line."""

    alpha: float = 0.025
    """So often a straight cell gets a parabola by chance; as in ASTM E74 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MistakeSettings:
    """When a reading is taken for a mistake of the person at the bench."""

    false_alarm: float = 0.001
    """Chance that a sequence without any mistake raises one, all steps and masses together (Bonferroni)."""
    least_share: float = 0.001
    """Of the largest force: smaller deviations are the cell's own curvature or hysteresis."""
    most_mistakes: int = 4
    """With more the sequence is to be done again, not to be explained."""
    noisy_ratio: float = 4.0
    """Standard deviation of a step over the median of all: normal noise of 20 samples never doubles it."""
    drift_share: float = 0.01
    """Of the largest force, from one empty reading to the next: the straight line between them takes most of it out, a
    tenth may stay, which is `least_share`."""
    rail_share: float = 0.999
    """Of the range: nearer to its end a reading counts as cut off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplacementSettings:
    """What is known about gauge blocks on the bench beside their certificate."""

    alignment_limit_deg: float = 1.0
    """Between the gauge and the plunger: what the eye sees against an edge; rectangular."""
    temperature_limit_c: float = 5.0
    """Of the blocks around 20 degrees Celsius, rectangular; of a heated room."""
    expansion_per_c: float = 11.5e-6
    """Of gauge-block steel: ISO 3650 asks for (11.5 +- 1.0)e-6 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComplianceSettings:
    """How the frame's give is described."""

    pieces: int = 6
    """Straight pieces between no force and the largest: frames stiffen at the start, hardly after."""
    fewest_samples: int = 5
    """In each piece, so that its noise averages out."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SkewSettings:
    """Which part of a stroke shows the loop."""

    window_from_share: float = 0.3
    """Of the way: ramps of the motor are over (50 mm/s at 1000 mm/s^2 take 1.25 mm)."""
    window_to_share: float = 0.7
    """Before braking begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceSettings:
    """Where on a press the place of a block is read, and what is not known of it."""

    at_newton: float = 1.0
    """One force for all blocks and both directions, so that the give of the frame is the same in all of them."""
    window_newton: float = 0.5
    """Samples this near to it take part: tens of them even against something rigid."""
    air_s: float = 0.3
    """At either end of a press the plunger hangs in the air at least so long."""
    unknown_skew_s: float = 2e-3
    """Bound of force against displacement as long as no skew was found: some samples' filtering; rectangular."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceSettings:
    """When what stood under the plunger is not believed to be what was asked for."""

    repeatable_share: float = 0.01
    """Of the largest force, between readings of one load: a sound cell does ten times better (class 1 of common
    practice is 0.01 of each load), a slip of a small mass is as much."""
    block_off_mm: float = 0.04
    """Between what a block shows and its length: more than dirt and backlash do; a wrong block is off by 0.5."""
    block_off_share: float = 0.004
    """The same as a share of the longest block: a bent scale is off by less."""
    rigid_mm_per_newton: float = 0.2
    """A frame that gives more is none; a soft spring gives 0.3 and more."""
    elastic_mm_per_newton: float = 0.1
    """A spring that gives less shows the frame, not itself."""
