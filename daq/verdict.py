"""What is said of a stroke pressed by hand: settings, faults, verdict. Words and numbers, no judging here."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

GRAM_FORCE_NEWTON = 9.80665e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgeSettings:
    """When a stroke is good."""

    touch_newton: float = 0.05
    """measurands.md: the force at which x = 0."""
    release_newton: float = 0.03
    """Contact ends under this: hysteresis of twice the noise of a noisy cell at 100 Hz."""
    touch_stays_mm: float = 0.1
    """measurands.md: the force must stay above touch for so long."""
    bed_newton: float = 3.0
    """measurands.md: the force at which the key dip is read."""
    fastest_mm_per_s: float = 5.0
    """Mean over 10..90 % of the way. measurands.md: quasi-static is at or below 5 mm/s, and the analysis leaves faster
    strokes out; what is called good here must count there."""
    mass_kg: float = 0.35
    """Effective mass of a heavy key, for what is said about inertia."""
    start_over_mm: float = 0.5
    """Way on which a stroke picks up its speed, for the same."""
    most_uneven: float = 0.7
    """Standard deviation of ln(speed) over bins of way, on the way down or up; 0.7 is a factor of 2 either way. The
    virtual hand's even strokes (minimum-jerk, trembling, wavering) lie at 0.14 to 0.53, stopping and dashing ones above
    0.86."""
    speed_bin_mm: float = 0.5
    """Twelve times the tremor and 25 steps of a coarse encoder: neither makes a speed of its own."""
    largest_reversal_mm: float = 0.3
    """processing ends an approach at this; tremor (0.08 mm from peak to peak) stays far below."""
    surely_air_mm: float = 0.5
    """So much above the place of touch the plunger is in the air, whatever the drifting cell says."""
    home_mm: float = 0.1
    """Back at the place of touch within this: over the rest felt's give and the tremor."""
    still_mm: float = 0.15
    """A plunger that stays within this stands still: twice the tremor from peak to peak."""
    still_s: float = 0.7
    """So long still is a rest: longer than the slow beginning of a stroke (0.4 s for the first 0.15 mm)."""
    least_way_mm: float = 1.0
    """Less is a touch, no stroke."""
    least_rise_mm: float = 1.5
    """Come up by this and still, a stroke has ended there; come up by this and by half the way, it is on its way home
    and another may follow. A hand's step back is less."""
    again_mm: float = 2.0
    """Going down by this after that is the next stroke: larger than a hand's step back."""
    settle_s: float = 0.25
    """Wait so long in the air before judging, to read the zero of the cell (one plateau is 0.15 s)."""
    longest_s: float = 60.0
    """A stroke that takes longer is given up."""


class FaultKind(StrEnum):
    """What can be wrong with a stroke; the value is the word for the screen."""

    GAP = "gap"
    NOT_TO_THE_BED = "not to the bed"
    NOT_HOME = "not home"
    PRELOADED = "preloaded"
    TOO_FAST = "too fast"
    UNEVEN = "uneven"


@dataclass(frozen=True, slots=True)
class StrokeFault:
    """One thing that is wrong, in numbers and words."""

    kind: FaultKind
    value: float
    limit: float
    unit: str
    """Of value and limit: mm/s, mm, N, or 1 for the unevenness and the number of gaps."""
    advice: str
    """One sentence: what was seen, and what to do."""

    @property
    def word(self) -> str:
        """The word for the screen."""
        return self.kind.value


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeVerdict:
    """One stroke, judged."""

    faults: tuple[StrokeFault, ...]
    """Empty: a good stroke. In the order of FaultKind."""
    first_sample: int
    """Where the plunger set out."""
    last_sample: int
    tick_us: int
    """The rig's clock at the last sample."""
    down_mm_per_s: float
    """Mean over 10..90 % of the way down."""
    up_mm_per_s: float | None
    """The same on the way up; None: it did not come up."""
    unevenness: float | None
    """Larger one of both ways: standard deviation of ln(speed) over bins of way; None: too short a way to tell."""
    reversal_mm: float
    """Largest step back on the way down or up."""
    peak_newton: float
    depth_mm: float
    """From touch to the deepest place, the rig's own give taken off."""

    @property
    def good(self) -> bool:
        """True if nothing is wrong."""
        return not self.faults

    @property
    def word(self) -> str:
        """`good`, or the words of all faults."""
        return ", ".join(fault.word for fault in self.faults) or "good"


class NowState(StrEnum):
    """What the plunger is doing; the value is the word for the screen."""

    IN_THE_AIR = "in the air"
    GOING_DOWN = "going down"
    ON_THE_BED = "on the bed"
    COMING_UP = "coming up"
    WAITING = "waiting"


@dataclass(frozen=True, slots=True)
class Now:
    """The present moment, for a live bar."""

    state: NowState
    depth_mm: float
    """Below the place of touch; 0 in the air."""
    force_newton: float | None
    """None: the zero of the cell is not known yet."""
    speed_mm_per_s: float
    """Over the last 0.1 s, downward positive."""
    share: float
    """Of the way to the bed, 0..1; the way is that of the last good stroke, 10 mm before the first."""


def inertia_newton(settings: JudgeSettings, speed_mm_per_s: float) -> float:
    """Return m v^2 / (2 d): the mean force that brings a key to this speed over the start; source: work and energy."""
    metres_per_s = speed_mm_per_s * 1e-3
    return settings.mass_kg * metres_per_s**2 / (2.0 * settings.start_over_mm * 1e-3)
