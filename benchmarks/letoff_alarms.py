"""How often noise alone is called a let-off, and how faint a let-off is still found: the detection test, counted.

How it works: keys whose force is level or rises, without a let-off, get noise as smooth as the kernel makes it; each is
searched as any key is. Beside the count stands its 95 % interval (Clopper & Pearson, by scipy) and the rate stated.
Then the same keys get a let-off of some size, told in detection limits.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import binomtest

from processing.kernel import equivalent_kernel
from processing.landmarks import find_landmarks
from processing.settings import FeatureSettings
from processing.stages import Curve, FloatArray

WAY_MM = np.arange(0.0, 10.2, 0.01)
BED_MM, BED_STIFFNESS = 9.5, 90.0
PEAK_MM, RISE_MM, FALL_MM = 7.5, 0.8, 0.5
NOISE_NEWTON = 0.006
"""Standard error of the smoothed curve: so much that the least let-off, 0.02 N, does not decide."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of key: how wide it is smoothed, and how its force rises."""

    half_width_mm: float
    newton_per_mm: float


KINDS = tuple(Kind(width, slope) for width in (0.12, 0.3, 0.5) for slope in (0.0, 0.005, 0.02))


def a_plain_key(kind: Kind, letoff_newton: float = 0.0, *, noise_newton: float = NOISE_NEWTON) -> Curve:
    """Return the curve of a key without noise. letoff_newton: what its let-off rises and falls by; 0: it has none."""
    up = np.clip((WAY_MM - (PEAK_MM - RISE_MM)) / RISE_MM, 0.0, 1.0)
    down = np.clip((WAY_MM - PEAK_MM) / FALL_MM, 0.0, 1.0)
    hump = letoff_newton * ((1.0 - np.cos(np.pi * up)) - (1.0 - np.cos(np.pi * down))) / 2.0
    force = 0.5 + kind.newton_per_mm * WAY_MM + hump + BED_STIFFNESS * np.clip(WAY_MM - BED_MM, 0.0, None) ** 1.5
    error = np.full(len(WAY_MM), noise_newton)
    no_gap = np.zeros(len(WAY_MM), np.bool_)
    return Curve(WAY_MM, force, None, error, None, kind.half_width_mm, no_gap, strokes=3, noise_dof=1000.0)


def with_noise(plain: Curve, random: np.random.Generator) -> Curve:
    """Return a curve with noise of its stated standard error, as smooth as its kernel makes it."""
    kernel = equivalent_kernel(plain)
    kernel = kernel / np.sqrt(np.sum(kernel**2))
    white: FloatArray = np.convolve(random.standard_normal(len(WAY_MM) + len(kernel) - 1), kernel, "valid")
    return replace(plain, down_newton=plain.down_newton + plain.down_u_newton * white)


def found(plain: Curve, count: int, settings: FeatureSettings, seed: int) -> int:
    """Return on how many of so many noisy keys a let-off is found."""
    random = np.random.default_rng(seed)
    return sum(find_landmarks(with_noise(plain, random), settings).letoff.kind == "found" for _ in range(count))


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keys", type=int, default=4000, help="noisy keys a kind (default 4000)")
    parser.add_argument("--seed", type=int, default=0)
    wanted = parser.parse_args()
    settings = FeatureSettings()
    print(f"without a let-off, {wanted.keys} keys a kind; stated: at most {settings.letoff_false_alarm:g}")
    for kind in KINDS:
        alarms = found(a_plain_key(kind), wanted.keys, settings, wanted.seed)
        interval = binomtest(alarms, wanted.keys).proportion_ci()
        print(
            f"kernel +-{kind.half_width_mm:.2f} mm, rises {kind.newton_per_mm:.3f} N/mm: {alarms} "
            f"({100.0 * interval.low:.3f} to {100.0 * interval.high:.3f} %)"
        )
    print("with a let-off, told in detection limits: share found")
    for kind in KINDS[::3]:
        limit = find_landmarks(a_plain_key(kind), settings).letoff.limit_newton
        shares = {
            size: found(a_plain_key(kind, size * limit), wanted.keys // 10, settings, wanted.seed) / (wanted.keys // 10)
            for size in (0.5, 1.0, 1.5, 2.0, 3.0)
        }
        told = ", ".join(f"{size:g}: {100.0 * share:.1f} %" for size, share in shares.items())
        print(f"kernel +-{kind.half_width_mm:.2f} mm, limit {limit:.4f} N: {told}")


if __name__ == "__main__":
    main()
