"""How deep a fall noise makes by itself on a key without a let-off: the detection limit as a test with a stated rate.

How it works: a curve smoothed by a kernel has about as many places of its own as kernels fit into the way that is
searched. A fall is the difference of two of them, the earlier above the later, each a mean over CONFIRM_MM; noise has
so many pairs to try. The limit is the normal quantile at the stated rate over their number (Bonferroni), so the rate is
never larger than stated; on a key whose force rises it is smaller. `python -m benchmarks.letoff_alarms` counts.
Source: Bonferroni's inequality; variance of a mean of correlated values, GUM (JCGM 100:2008) 5.2.2.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import ndtri

from processing.kernel import kernel_on_grid
from processing.stages import Curve

CONFIRM_MM = 0.2
"""A fall is believed between means over so much way: the highest and lowest single points lie apart by chance alone."""


def chance_fall(curve: Curve, *, way_mm: float, rate: float) -> float:
    """Return how deep a fall noise alone makes at this rate a key, in standard errors of the smoothed curve.

    way_mm: how much way is searched; rate: of false alarms a key, 0 < rate < 1.
    """
    return _chance_fall(curve.half_width_mm, curve.step_mm, round(way_mm, 1), rate)


@lru_cache(maxsize=256)
def _chance_fall(half_width_mm: float, step_mm: float, way_mm: float, rate: float) -> float:
    kernel = kernel_on_grid(max(half_width_mm, 2.0 * step_mm), step_mm)  # fewer points make no parabola
    single = float(np.sum(kernel**2))
    over = max(1, round(CONFIRM_MM / step_mm))
    of_a_mean = np.sqrt(float(np.sum(np.convolve(kernel, np.full(over, 1.0 / over)) ** 2)) / single)
    places = max(2.0, way_mm * single / step_mm)
    pairs = places * (places - 1.0) / 2.0
    return float(-ndtri(rate / pairs) * np.sqrt(2.0) * of_a_mean)
