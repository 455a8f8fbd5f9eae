"""Every limit of the rig's fitness: unit, default, reason. Saved with the verdict.

Limits come from what the numbers of a key need (`processing/settings.py`), not from what rigs can do. `unfit`: the
numbers of a survey would be wrong; `poor`: they would be worse than they need be.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FitnessSettings:
    """When a rig is fit."""

    # what noise, drift and hum are reckoned against
    weight_poor_newton: float = 0.002
    """0.2 gf: so much of a weight's standard uncertainty may come from one fault of the rig without being noticed."""
    weight_unfit_newton: float = 0.0049
    """0.5 gf: half of what a technician's smallest weight, 1 gf, can tell apart (common practice)."""
    weight_window_s: float = 0.25
    """A weight is a mean over 1 mm at least (`narrowest_window_mm`), at 4 mm/s."""
    zero_is_old_s: float = 1.0
    """The zero is read in the air; about a second later the plunger is in the middle of the weight's window."""
    stroke_s: float = 6.0
    """Down 11 mm and up again at 4 mm/s."""

    # samples and their times
    fewest_samples: int = 1000
    """In the rest: the standard deviation is then known to 2 %, and a stuck bit cannot hide."""
    shortest_rest_s: float = 2.0
    """Under it neither hum nor drift can be told from noise."""
    rate_poor_share: float = 0.001
    """The rig's statement is a crystal's, good to 0.01 %; ten times that is a wrong setting somewhere."""
    rate_unfit_share: float = 0.01
    """Speeds and latencies would be wrong by 1 %."""
    slowest_rate_hz: float = 140.0
    """Eight samples (`fewest_samples` of a curve) in a kernel of 0.24 mm at 4 mm/s; slower, let-offs are blurred."""
    jitter_poor_us: float = 500.0
    """At 4 mm/s the plunger makes 2 um in it: a step of a fine displacement gauge."""
    jitter_unfit_us: float = 2500.0
    """At 4 mm/s 10 um: a step of the curve."""
    lost_unfit_share: float = 0.001
    """One sample in a thousand: a let-off flank of 0.35 mm at 1000 Hz would miss one in every tenth stroke."""

    # the converter
    rail_share: float = 0.999
    """Of the force range: nearer to its end a sample counts as cut off."""
    pile_share: float = 0.05
    """So many samples on the very highest or lowest count are cut off; of normal noise that spans counts, fewer are."""
    cells_for_a_bit: int = 8
    """A bit that stays while the samples visit so many of its cells is stuck: 1 in 128 by chance if they were tossed,
    and never with noise that visits neighbouring cells."""
    samples_per_code: float = 20.0
    """Expected per count; then a count that chance leaves out is one in 10^8."""
    zero_poor_share: float = 0.10
    """Of the range: zero balance beyond a few per cent tells of a strained or preloaded cell (common practice)."""
    press_newton: float = 5.0
    """The survey's force limit of 4 N with room for its overshoot must fit between zero and the end of the range."""

    # noise and hum
    noise_poor_newton: float = 0.005
    """The touch of 0.05 N stands out by ten standard deviations of one sample."""
    noise_unfit_newton: float = 0.010
    """Five: beyond, one sample in some million already looks like a touch, and a rig is a thousand a second."""
    density_from_hz: float = 5.0
    """Below this drift adds to the noise; the Allan deviation tells that part."""
    density_to_hz: float = 100.0
    """Beyond this the smoothing of a curve leaves nothing; never more than 0.4 of the sample rate is used."""
    line_half_width_hz: float = 3.0
    """Left out of the noise on either side of each mains line: the window's own width is 2 Hz."""
    mains_wander_hz: float = 0.5
    """Mains stays within 0.5 Hz of its name except in trouble (common practice: EN 50160, 49.5 to 50.5 Hz)."""
    mains_harmonics: int = 5
    """Lines looked for: the mains and its multiples up to this."""
    hum_chance: float = 1e-4
    """A line counts as hum if noise as strong as its neighbourhood makes it more rarely than this."""
    hum_poor_newton: float = 0.005
    """Peak to peak half of the smallest let-off that is called one (`least_letoff_newton`, 0.02 N)."""
    hum_unfit_newton: float = 0.010
    """Peak to peak as much as the smallest let-off: hum would be called a let-off, or hide one."""
    hum_longest_s: float = 60.0
    """The mains wanders, so a longer stretch fits one sine worse, not better."""
    drift_block_s: float = 0.1
    """Means over this enter the slope: five periods of 50 Hz, six of 60 Hz, so hum cancels."""
    most_blocks: int = 600
    """More blocks are made longer: the slope compares every pair."""

    # motion
    scale_poor_share: float = 0.01
    """0.1 mm on a dip of 10 mm: a ruler sees it."""
    scale_unfit_share: float = 0.05
    """0.5 mm on a dip of 10 mm: no calibration of one rig is that far off, it is another scale."""
    backlash_poor_mm: float = 0.02
    """Two steps of the curve between the way down and the way up."""
    air_force_poor_newton: float = 0.010
    """A cable that drags: it would tilt the zero along the way."""
    air_force_unfit_newton: float = 0.05
    """As much as the touch: the plunger is not free in the air."""
    touch_mean_s: float = 0.01
    """Means over this show the sign of a touch: ten samples at 1000 Hz, so single ones do not decide."""
    touch_share: float = 0.5
    """Of the touch force: a change smaller than this may be noise."""
    run_on_poor_mm: float = 0.3
    """After the limit: braking from 10 mm/s at 200 mm/s^2 takes 0.25 mm."""
    run_on_unfit_mm: float = 1.0
    """On a key bed of 6 N/mm it would press 6 N more than was asked for."""
