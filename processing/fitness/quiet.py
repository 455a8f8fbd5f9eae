"""Is the force quiet at rest: noise, mains hum, drift, and how long averaging helps?"""

from __future__ import annotations

import numpy as np
from scipy.signal import detrend
from scipy.stats import theilslopes

from processing.errors import NotTried
from processing.fitness.allan import allan_deviation, overlapping_allan
from processing.fitness.judgement import Evidence, Judgement, Value, Verdict, graded
from processing.fitness.settings import FitnessSettings
from processing.fitness.spectrum import MAINS_HZ, Line, fitted_sines, mains_lines, noise_density
from processing.stages import FloatArray

FEWEST_MEANS = 4
"""Of fewer means an Allan deviation is little more than chance."""
GROUNDING = "look for a loose shield, a second path to earth, a motor or power supply near the cell's cable"


def noise(evidence: Evidence) -> Judgement:
    """One sample's scatter must stay far below the touch; drift and hum are judged apart."""
    settings = evidence.settings
    force, rate_hz = evidence.unbroken(settings.hum_longest_s), evidence.rate_hz
    flat = detrend(force)
    hums = tuple(
        line.frequency_hz for hz in MAINS_HZ for line in mains_lines(force, rate_hz, hz, settings) if line.real
    )
    sigma = float(np.std(flat - fitted_sines(flat, rate_hz, hums)))
    verdict = graded(sigma, settings.noise_poor_newton, settings.noise_unfit_newton)
    return Judgement(
        verdict=verdict,
        values=(Value("standard_deviation", sigma, "N"),),
        poor_beyond=settings.noise_poor_newton,
        unfit_beyond=settings.noise_unfit_newton,
        template="a sample scatters by {} (without trend and hum)",
        numbers=((sigma, "N"),),
        advice="" if verdict == "fit" else f"{GROUNDING}; is the bench shaken, does a fan blow on the plunger?",
    )


def density(evidence: Evidence) -> Judgement:
    """The noise's density bounds a weight's uncertainty: a mean over T seconds has S / sqrt(2 T)."""
    settings = evidence.settings
    found, (from_hz, to_hz) = noise_density(evidence.unbroken(), evidence.rate_hz, settings)
    per_density = 1.0 / np.sqrt(2.0 * settings.weight_window_s)
    weight_u = float(found * per_density)
    verdict = graded(weight_u, settings.weight_poor_newton, settings.weight_unfit_newton)
    return Judgement(
        verdict=verdict,
        values=(Value("density", found, "N/sqrt(Hz)"), Value("weight_u", weight_u, "N")),
        poor_beyond=float(settings.weight_poor_newton / per_density),
        unfit_beyond=float(settings.weight_unfit_newton / per_density),
        template=f"{{}}, {from_hz:g} to {to_hz:g} Hz: gives a weight u = {{}}",
        numbers=((found, "N/sqrt(Hz)"), (weight_u, "N")),
        advice="" if verdict == "fit" else "quieten the cell's amplifier, or survey more slowly and with more strokes",
    )


def hum(evidence: Evidence) -> Judgement:
    """Mains hum and its multiples together must stay below what could look like a let-off."""
    settings = evidence.settings
    force, rate_hz = evidence.unbroken(settings.hum_longest_s), evidence.rate_hz
    found = [mains_lines(force, rate_hz, hz, settings) for hz in MAINS_HZ]
    if not all(found):
        raise NotTried(f"{rate_hz:.3g} samples a second cannot show mains hum", "sample at 150 Hz or faster")
    lines = max(found, key=_strength)
    real = tuple(line for line in lines if line.real)
    return _hum_found(real, settings) if real else _no_hum(found, settings)


def _strength(lines: tuple[Line, ...]) -> float:
    return sum(line.amplitude for line in lines if line.real)


def _hum_found(real: tuple[Line, ...], settings: FitnessSettings) -> Judgement:
    together, strongest = _strength(real), max(real, key=lambda line: line.amplitude)
    verdict = graded(together, settings.hum_poor_newton, settings.hum_unfit_newton)
    return Judgement(
        verdict=verdict,
        values=(
            Value("amplitude", together, "N"),
            Value("strongest", strongest.amplitude, "N"),
            Value("frequency", strongest.frequency_hz, "Hz"),
            Value("lines", len(real), "1"),
        ),
        poor_beyond=settings.hum_poor_newton,
        unfit_beyond=settings.hum_unfit_newton,
        template=f"{{}} in {len(real)} line{'s' * (len(real) > 1)}, the strongest {{}} at {{}}",
        numbers=((together, "N"), (strongest.amplitude, "N"), (strongest.frequency_hz, "Hz")),
        advice="" if verdict == "fit" else f"{GROUNDING}; leave mains parts to licensed people",
    )


def _no_hum(found: list[tuple[Line, ...]], settings: FitnessSettings) -> Judgement:
    hidden = max(line.detection_limit for lines in found for line in lines)
    verdict: Verdict = "poor" if hidden > settings.hum_poor_newton else "fit"
    return Judgement(
        verdict=verdict,
        values=(Value("amplitude", 0.0, "N"), Value("detection_limit", hidden, "N")),
        poor_beyond=settings.hum_poor_newton,
        unfit_beyond=settings.hum_unfit_newton,
        template="none at 50 or 60 Hz or multiples; {} would show",
        numbers=((hidden, "N"),),
        advice="" if verdict == "fit" else "so much noise hides hum; quieten it first, or rest longer with --seconds",
    )


def drift(evidence: Evidence) -> Judgement:
    """The zero is read before every stroke, so it may drift little while one lasts."""
    settings = evidence.settings
    slope, low, high = (60.0 * each for each in _slope_per_s(evidence))
    poor, unfit = (
        60.0 * limit / settings.stroke_s for limit in (settings.weight_poor_newton, settings.weight_unfit_newton)
    )
    sure = 0.0 if low < 0.0 < high else min(abs(low), abs(high))
    verdict: Verdict = "unfit" if sure > unfit else "poor" if abs(slope) > poor else "fit"
    return Judgement(
        verdict=verdict,
        values=(Value("slope", slope, "N/min"), Value("low", low, "N/min"), Value("high", high, "N/min")),
        poor_beyond=poor,
        unfit_beyond=unfit,
        template="{} (95 %: {} to {}, from noise alone)",
        numbers=((slope, "N/min"), (low, "N/min"), (high, "N/min")),
        advice="" if verdict == "fit" else "let the rig warm up, keep draughts and sun off, check again",
    )


def _slope_per_s(evidence: Evidence) -> tuple[float, float, float]:
    """Return the slope of the force in N/s and its 95 % interval. Source: Theil-Sen by scipy, over means of blocks."""
    evidence.need_live_force()
    settings, lasts_s = evidence.settings, float(evidence.time_s[-1])
    block_s = max(settings.drift_block_s, lasts_s / settings.most_blocks)
    block = np.floor(evidence.time_s / block_s).astype(np.int64)
    filled, first = np.unique(block, return_index=True)
    counts = np.diff(np.append(first, len(block)))
    whole = counts >= 0.5 * counts.max()
    means: FloatArray = np.add.reduceat(evidence.force_newton, first) / counts
    found = theilslopes(means[whole], (filled[whole] + 0.5) * block_s, alpha=0.95)
    return float(found[0]), float(found[2]), float(found[3])


def stability(evidence: Evidence) -> Judgement:
    """From the reading of the zero to that of a weight the force must not wander: sqrt(2) Allan deviations at 1 s."""
    settings = evidence.settings
    force, rate_hz = evidence.unbroken(), evidence.rate_hz
    length = round(settings.zero_is_old_s * rate_hz)
    if len(force) < FEWEST_MEANS * length:
        raise NotTried(
            f"the rest is shorter than {FEWEST_MEANS} times {settings.zero_is_old_s:g} s", "rest longer with --seconds"
        )
    at_zero = float(overlapping_allan(force, np.array([length]))[0])
    lowest, tau_s = allan_deviation(force, rate_hz).lowest()
    poor, unfit = settings.weight_poor_newton / np.sqrt(2.0), settings.weight_unfit_newton / np.sqrt(2.0)
    verdict = graded(at_zero, poor, unfit)
    return Judgement(
        verdict=verdict,
        values=(Value("allan_1s", at_zero, "N"), Value("lowest", lowest, "N"), Value("lowest_tau", tau_s, "s")),
        poor_beyond=float(poor),
        unfit_beyond=float(unfit),
        template=f"{{}} at {settings.zero_is_old_s:g} s, lowest {{}} at {{}}",
        numbers=((at_zero, "N"), (lowest, "N"), (tau_s, "s")),
        advice="" if verdict == "fit" else "let the rig warm up, keep draughts off, free the cell's cable",
    )
