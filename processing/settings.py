"""Every threshold of measurands.md and of the steps before it: unit, default, reason. Saved with the results."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeSettings:
    """How presses are told apart and where a curve begins."""

    touch_newton: float = 0.05
    """measurands.md: the force at which x = 0."""
    touch_stays_mm: float = 0.1
    """measurands.md: it must stay above for so long."""
    reversal_mm: float = 0.3
    """Going back more than this ends an approach; trembling hands stay below."""
    new_ground_mm: float = 0.03
    """After a reversal the friction is in between its two signs until the old place is passed by so much again; samples
    count from there on. The gauge's noise may seem to go back by at most as much."""
    air_mm: float = 0.1
    """So much way without force is air, and gives the zero of the cell."""
    air_lasts_mm: float = 0.2
    """The air above a key that is only touched reaches at least so far; presliding is over sooner."""
    level_differs_newton: float = 0.05
    """The force before and after a stroke in air differs less than this; more is friction, so it was no air."""
    slow_mm_per_s: float = 5.0
    """measurands.md: quasi-static up to here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveSettings:
    """How samples become a curve."""

    step_mm: float = 0.01
    """Distance of the points of a curve; the best published contactless key-position gauge resolves as much."""
    half_width_mm: float = 0.12
    """Of the local quadratic's kernel: a let-off flank of 0.35 mm keeps its height within 1 %."""
    fewest_samples: int = 8
    """In a kernel; where strokes were sampled more sparsely the kernel widens until it holds so many."""
    widest_spacing_mm: float = 0.5
    """Samples further apart step over a whole let-off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureSettings:
    """The thresholds of the definitions in measurands.md."""

    bed_newton: float = 3.0
    contact_rise_newton: float = 0.10
    letoff_search_from: float = 0.50
    before_from_mm: float = 2.5
    before_to_mm: float = 1.5
    onset_share: float = 0.10
    end_share: float = 0.90
    detection_sigmas: float = 3.0
    least_letoff_newton: float = 0.02
    """Under this nothing is called a let-off, however quiet the curve: no finger feels 2 gf."""
    letoff_false_alarm: float = 1e-3
    """Share of keys without a let-off on which noise alone may be called one."""
    window_from_mm: float = 1.5
    window_before_onset_mm: float = 0.5
    window_before_damper_mm: float = 0.7
    window_share_of_contact: float = 0.60
    narrowest_window_mm: float = 1.0
    damper_from: float = 0.30
    damper_to: float = 0.65
    weights_from_mm: float = 1.0
    lift_from_mm: float = 0.3
    latency_bound_s: float = 0.005
    """With strokes at one speed only, the note may have been this late; it widens the uncertainty of its place.
    A recording that says of its own notes that they may be later (notes through the host) overrules it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintySettings:
    """How the standard uncertainty is made up."""

    noise_draws: int = 40
    """Times the curve's own noise is drawn anew (JCGM 101), in pairs of opposite sign: the standard deviation of 20
    pairs is known to 16 %."""
    seed: int = 20260101
    coverage: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class OddKeySettings:
    """When a key stands out from its neighbours."""

    neighbours: int = 9
    """Keys of the same colour over which the running median is taken."""
    sigmas: float = 6.0
    """Robust standard deviations; with 88 keys and a dozen numbers chance goes to 4."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DynamicSettings:
    """How strokes at several speeds, partial lifts and repetitions become numbers."""

    least_speed_ratio: float = 2.0
    """Fastest over slowest stroke; with less a line to zero speed multiplies the strokes' scatter."""
    local_speed_over_mm: float = 0.1
    """Way over which the speed at a note is taken at least: fifty times the gauge's step, and little of a braking."""
    note_jitter_s: float = 0.0003
    """Standard deviation of a note's moment: a scan of 1 ms is rectangular, 1 ms / sqrt(12); common practice."""
    outlier_sigmas: float = 5.0
    """A stroke further off the line than so many of its standard deviations is left out; of normal ones none is."""
    following_newton: float = 0.03
    """A key that presses back with less has left the plunger, and is not where the plunger is; noise is a tenth."""
    same_speed_share: float = 0.05
    """Strokes whose speeds differ by less are strokes at one speed; a screw's wobble is 4 %."""
    widest_speed_step: float = 3.0
    """Faster over slower of two neighbouring speeds between which a velocity is drawn; the ladder's widest is 2.5."""
    clear_window_mm: float = 0.5
    """A sustain window is clear from here on: the least way a finger may be asked to keep to; own choice."""
    presses_asked: int = 10
    """measurands.md: 10 of 10 presses must sound."""
    speed_over_s: float = 0.012
    """Time over which the speed at a moment is taken: a period of a 0.2 kg key ringing on a give of 0.02 mm/N."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings of one analysis."""

    stroke: StrokeSettings = field(default_factory=StrokeSettings)
    curve: CurveSettings = field(default_factory=CurveSettings)
    feature: FeatureSettings = field(default_factory=FeatureSettings)
    uncertainty: UncertaintySettings = field(default_factory=UncertaintySettings)
    odd_keys: OddKeySettings = field(default_factory=OddKeySettings)
    dynamic: DynamicSettings = field(default_factory=DynamicSettings)
    stated_at: Literal["plunger", "front edge"] = "plunger"
    """Where force and travel are stated; the front edge needs a contact point and a lever in the calibration record."""
