"""Does the rig move as it is told, and show what it touches with the right sign?"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import detrend

from processing.errors import NotTried
from processing.fitness.judgement import Evidence, Judgement, Value, graded, millimetres, newtons
from recordings.trial import AirMove, Approach, Touch, Trial

NEVER_LIKE_THIS = "never survey like this: the force limit would not stop the motor"


def encoder(evidence: Evidence) -> Judgement:
    """Going down a known way in the air, the displacement must rise by as much."""
    settings, air = evidence.settings, _air(evidence)
    top, bottom, back = (
        float(np.median(millimetres(trace, evidence.trial))) for trace in (air.at_top, air.at_bottom, air.back_at_top)
    )
    shown_mm, backlash_mm = bottom - top, abs(back - top)
    off = abs(shown_mm / air.commanded_mm - 1.0)
    verdict = graded(off, settings.scale_poor_share, settings.scale_unfit_share)
    advice = "" if verdict == "fit" else "check counts per mm of gauge and motor against a gauge block"
    if shown_mm < -0.5 * air.commanded_mm:
        advice = "the displacement runs backwards: swap the gauge's channels A and B, or its sign in the rig"
    elif verdict == "fit" and backlash_mm > settings.backlash_poor_mm:
        verdict, advice = "poor", "it does not come back to where it was: look for play between gauge and plunger"
    return Judgement(
        verdict=verdict,
        values=(
            Value("scale_off", 100.0 * off, "%"),
            Value("shown", shown_mm, "mm"),
            Value("commanded", air.commanded_mm, "mm"),
            Value("backlash", backlash_mm, "mm"),
        ),
        poor_beyond=100.0 * settings.scale_poor_share,
        unfit_beyond=100.0 * settings.scale_unfit_share,
        template="told {} down, shows {}; back at the top {} off",
        numbers=((air.commanded_mm, "mm"), (shown_mm, "mm"), (backlash_mm, "mm")),
        advice=advice,
    )


def air_force(evidence: Evidence) -> Judgement:
    """In the air the force must be the same below as above."""
    settings, air = evidence.settings, _air(evidence)
    above = np.concatenate([newtons(air.at_top, evidence.trial), newtons(air.back_at_top, evidence.trial)])
    change = float(newtons(air.at_bottom, evidence.trial).mean() - above.mean())
    verdict = graded(abs(change), settings.air_force_poor_newton, settings.air_force_unfit_newton)
    return Judgement(
        verdict=verdict,
        values=(Value("change", change, "N"), Value("way", air.commanded_mm, "mm")),
        poor_beyond=settings.air_force_poor_newton,
        unfit_beyond=settings.air_force_unfit_newton,
        template="over {} of air the force changes by {}",
        numbers=((air.commanded_mm, "mm"), (change, "N")),
        advice="" if verdict == "fit" else "see that nothing touches the plunger and that the cell's cable hangs loose",
    )


def moving_noise(evidence: Evidence) -> Judgement:
    """The motor must not shake the cell: moving in the air one sample scatters as little as at rest."""
    settings, air = evidence.settings, _air(evidence)
    sigma = max(float(np.std(detrend(newtons(trace, evidence.trial)))) for trace in air.moving)
    verdict = graded(sigma, settings.noise_poor_newton, settings.noise_unfit_newton)
    return Judgement(
        verdict=verdict,
        values=(Value("standard_deviation", sigma, "N"),),
        poor_beyond=settings.noise_poor_newton,
        unfit_beyond=settings.noise_unfit_newton,
        template="a sample scatters by {} while the motor runs (with hum)",
        numbers=((sigma, "N"),),
        advice=""
        if verdict == "fit"
        else "compare with the noise at rest; if it is the motor, tighten the frame, "
        "shield its leads, use another speed or finer steps",
    )


def polarity(evidence: Evidence) -> Judgement:
    """Touching a key must raise the force."""
    touch, trial, settings = _touch(evidence), evidence.trial, evidence.settings
    off = newtons(touch.on_key, trial) - newtons(touch.in_air, trial).mean()
    means = uniform_filter1d(off, max(1, round(settings.touch_mean_s * evidence.rate_hz)))
    change = float(means[np.argmax(np.abs(means))])
    if abs(change) < settings.touch_share * touch.limit_newton:
        raise NotTried(
            f"the force differed by only {abs(change):.3f} N, which may be noise", "see noise and hum, then try again"
        )
    rises = change > 0.0
    return Judgement(
        verdict="fit" if rises else "unfit",
        values=(Value("change", change, "N"), Value("looked_for", touch.limit_newton, "N")),
        poor_beyond=None,
        unfit_beyond=None,
        template=f"touching the key {'raises' if rises else 'lowers'} it by {{}}",
        numbers=((abs(change), "N"),),
        advice="" if rises else f"{NEVER_LIKE_THIS}; swap the cell's signal wires, or the sign in the rig",
    )


def force_limit(evidence: Evidence) -> Judgement:
    """The rig must stop by itself at the force limit, and soon."""
    touch, trial, settings = _touch(evidence), evidence.trial, evidence.settings
    approach = touch.approach
    if not isinstance(approach, Approach):
        raise NotTried(approach.why, approach.how)
    over_newton, run_on_mm = _beyond_the_limit(touch, approach, trial)
    stopped = approach.ended_by_limit
    verdict = graded(run_on_mm, settings.run_on_poor_mm, settings.run_on_unfit_mm) if stopped else "unfit"
    ended = "stops it" if stopped else "does NOT stop it"
    return Judgement(
        verdict=verdict,
        values=(
            Value("run_on", run_on_mm, "mm"),
            Value("overshoot", over_newton, "N"),
            Value("limit", approach.limit_newton, "N"),
        ),
        poor_beyond=settings.run_on_poor_mm,
        unfit_beyond=settings.run_on_unfit_mm,
        template=f"{{}} at {approach.speed_mm_per_s:g} mm/s {ended}; {{}} and {{}} too far",
        numbers=((approach.limit_newton, "N"), (run_on_mm, "mm"), (over_newton, "N")),
        advice="" if verdict == "fit" else "have the rig's firmware look at every sample, and brake harder",
    )


def _beyond_the_limit(touch: Touch, approach: Approach, trial: Trial) -> tuple[float, float]:
    """Return how far force (N) and place (mm) went on after the limit was first passed."""
    off = newtons(approach.trace, trial) - newtons(touch.in_air, trial).mean()
    way = millimetres(approach.trace, trial)
    passed = np.flatnonzero(off >= approach.limit_newton)
    if not len(passed):
        raise NotTried("the force never came to the limit on the way down", "put the plunger above a key")
    after = slice(int(passed[0]), None)
    return float(off[after].max()) - approach.limit_newton, float(way[after].max() - way[passed[0]])


def _air(evidence: Evidence) -> AirMove:
    air = evidence.trial.air
    if not isinstance(air, AirMove):
        raise NotTried(air.why, air.how)
    return air


def _touch(evidence: Evidence) -> Touch:
    touch = evidence.trial.touch
    if not isinstance(touch, Touch):
        raise NotTried(touch.why, touch.how)
    return touch
