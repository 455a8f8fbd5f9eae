"""Noise and mains lines of an evenly sampled signal at rest.

How it works: a mains line is looked for near its name by a zoomed Fourier transform, then fitted as a sine by least
squares, and believed if noise as strong as its neighbourhood would not make it. The noise's density is the median over
a band with the mains lines left out, so that no single line can lift it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import detrend, welch, zoom_fft
from scipy.stats import chi2

from processing.errors import NotTried
from processing.fitness.settings import FitnessSettings
from processing.stages import FloatArray

MAINS_HZ = (50.0, 60.0)
HIGHEST_SHARE = 0.45
"""Of the sample rate: lines above this are too near its half to be fitted."""
FINER = 16
"""Steps of the search per resolution 1 / T: so fine that a parabola through the best three finds the peak."""
NEAR_HZ, FAR_HZ = 1.0, 5.0
"""Between these distances from a line lies its neighbourhood."""
SEGMENT_S = 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """One sine at rest."""

    frequency_hz: float
    amplitude: float
    """Half of peak to peak, in the unit of the signal."""
    detection_limit: float
    """Under this amplitude noise explains it."""

    @property
    def real(self) -> bool:
        """Whether it stands out of the noise."""
        return self.amplitude > self.detection_limit


def mains_lines(signal: FloatArray, rate_hz: float, mains_hz: float, settings: FitnessSettings) -> tuple[Line, ...]:
    """Return the lines at the mains and its multiples that the sample rate can show, real or not.

    signal: evenly spaced, (N,). mains_hz: 50 or 60.
    Source: for white noise of one-sided density S over a time T, amplitude^2 T / S of a fitted sine is chi-squared with
    2 degrees of freedom; so chance reaches sqrt(2 S / T ln(tries / p)) once in 1 / p.
    """
    flat = detrend(signal)
    multiples = range(1, settings.mains_harmonics + 1)
    return tuple(
        _line(flat, rate_hz, mains_hz * multiple, settings.mains_wander_hz * multiple, settings.hum_chance)
        for multiple in multiples
        if mains_hz * multiple < HIGHEST_SHARE * rate_hz
    )


def _line(flat: FloatArray, rate_hz: float, near_hz: float, wander_hz: float, chance: float) -> Line:
    lasts_s = len(flat) / rate_hz
    tries = max(3, round(2.0 * wander_hz * lasts_s * FINER))
    grid = np.linspace(near_hz - wander_hz, near_hz + wander_hz, tries)
    frequency_hz = _peak(grid, np.abs(zoom_fft(flat, [grid[0], grid[-1]], m=tries, fs=rate_hz, endpoint=True)))
    fitted = fitted_sines(flat, rate_hz, (frequency_hz,))
    amplitude = float(np.sqrt(2.0) * fitted.std())
    density = _density_around(flat - fitted, rate_hz, frequency_hz)
    limit = float(np.sqrt(2.0 * density / lasts_s * np.log(tries / chance)))
    return Line(frequency_hz, amplitude, limit)


def _peak(grid: FloatArray, height: FloatArray) -> float:
    """Return where a parabola through the highest point and its neighbours is highest."""
    at = min(max(int(np.argmax(height)), 1), len(grid) - 2)
    before, here, after = height[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    off = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return float(grid[at] + (grid[1] - grid[0]) * np.clip(off, -1.0, 1.0))


def fitted_sines(signal: FloatArray, rate_hz: float, frequencies_hz: tuple[float, ...]) -> FloatArray:
    """Return the sines of these frequencies that fit a signal best, without its mean, (N,)."""
    if not frequencies_hz:
        return np.zeros(len(signal))
    turns = 2.0 * np.pi * np.outer(np.arange(len(signal)) / rate_hz, frequencies_hz)
    columns = np.hstack([np.sin(turns), np.cos(turns), np.ones((len(signal), 1))])
    solved = np.linalg.lstsq(columns, signal, rcond=None)[0]
    sines: FloatArray = columns[:, :-1] @ solved[:-1]
    return sines


def _density_around(rest: FloatArray, rate_hz: float, frequency_hz: float) -> float:
    """Return the mean one-sided power density in the neighbourhood of a line that has been taken out."""
    off_hz = np.abs(np.fft.rfftfreq(len(rest), 1.0 / rate_hz) - frequency_hz)
    near = (off_hz > NEAR_HZ) & (off_hz <= FAR_HZ)
    power = np.abs(np.fft.rfft(rest)[near]) ** 2
    return float(2.0 * power.mean() / (rate_hz * len(rest)))


def noise_density(signal: FloatArray, rate_hz: float, settings: FitnessSettings) -> tuple[float, tuple[float, float]]:
    """Return the noise density in the signal's unit per sqrt(Hz), one-sided, and the band in Hz that it is taken from.

    signal: evenly spaced, (N,). Raises NotTried if the sample rate leaves no band.
    Source: Welch's method by scipy.signal (Hann, 1 s, half overlapping); the median of a chi-squared is below its mean,
    which is made good with the degrees of freedom 36 K^2 / (19 K - 1) of K such segments (Percival & Walden 1993, from
    memory; a test holds it against white noise of known density).
    """
    segment = min(round(SEGMENT_S * rate_hz), len(signal))
    frequency_hz, power = welch(signal, fs=rate_hz, nperseg=segment)
    from_hz, to_hz = settings.density_from_hz, min(settings.density_to_hz, 0.4 * rate_hz)
    used = (frequency_hz >= from_hz) & (frequency_hz <= to_hz) & ~_near_mains(frequency_hz, settings)
    if not used.any():
        raise NotTried(f"at {rate_hz:.3g} samples a second no band above {from_hz:g} Hz is left", "sample faster")
    segments = 1 + (len(signal) - segment) // (segment - segment // 2)
    dof = 36.0 * segments**2 / (19.0 * segments - 1.0)
    low = float(chi2.median(dof)) / dof
    return float(np.sqrt(np.median(power[used]) / low)), (from_hz, to_hz)


def _near_mains(frequency_hz: FloatArray, settings: FitnessSettings) -> NDArray[np.bool_]:
    off = [np.abs(frequency_hz - hz * np.maximum(1.0, np.rint(frequency_hz / hz))) for hz in MAINS_HZ]
    near: NDArray[np.bool_] = np.minimum(*off) <= settings.line_half_width_hz
    return near
