"""Uncertainty against the GUM's own rules and printed values."""

from __future__ import annotations

import numpy as np
import pytest

from processing.curve import mean_curve
from processing.kernel import equivalent_kernel
from processing.otherwise import smoothed_again
from processing.stages import Branch, Curve, Stroke
from processing.uncertainty import lean_of, noise_line, noisy_copies, strokes_line, top_scatter_mm
from processing.zero_drift import zero_drift
from tests.builders import SETTINGS, SyntheticKey, a_curve

X = np.arange(0.0, 10.0, 0.01)


def test_the_mean_of_repeats_has_the_standard_deviation_of_the_mean() -> None:
    """GUM 4.2.3: s / sqrt(n); 1, 2, 3 have s = 1."""
    line = strokes_line([1.0, 2.0, 3.0], "N")

    assert line is not None
    assert (line.u, line.dof, line.kind) == (pytest.approx(1.0 / np.sqrt(3.0)), 2.0, "A")


def test_one_stroke_has_no_type_a_part() -> None:
    assert strokes_line([1.0], "N") is None


def test_scatter_that_noise_accounts_for_is_not_counted_again() -> None:
    """1, 2, 3 have u = 1 / sqrt 3; of that 0.3 is known, and (1 / 3 - 0.09) of the square is left (GUM H.5.2.4)."""
    line = strokes_line([1.0, 2.0, 3.0], "N", known_u=0.3)
    quiet = strokes_line([1.0, 2.0, 3.0], "N", known_u=0.7)

    assert line is not None
    assert line.u == pytest.approx(np.sqrt(1.0 / 3.0 - 0.09))
    assert quiet is not None
    assert quiet.u == 0.0


def test_a_number_that_answers_evenly_to_noise_does_not_lean_and_a_square_does() -> None:
    """Pairs of opposite sign: 3 + 2 d leans by nothing, 3 + d^2 by the mean of d^2; pairs of 1, 1, 1, 3 by 1.5 less
    what chance makes of four, s^2 / n = 1 / 4: sqrt(1.5^2 - 0.25)."""
    draws = [sign * size for size in (0.1, 0.2, 0.3, 0.4) for sign in (1.0, -1.0)]

    assert lean_of([3.0 + 2.0 * draw for draw in draws], 3.0) == pytest.approx(0.0, abs=1e-12)
    assert lean_of([4.0, 4.0, 4.0, 4.0, 4.0, 4.0, 6.0, 6.0], 3.0) == pytest.approx(np.sqrt(1.5**2 - 0.25))


def three_strokes(noise_newton: float, waves: float = 0.0) -> tuple[Curve, tuple[Curve, ...]]:
    """A flat key whose strokes differ by smooth noise, or by waves of 0.3 mm as a trembling hand makes them."""
    random = np.random.default_rng(3)
    strokes = tuple(
        a_curve(
            X,
            0.5
            + noise_newton * np.convolve(random.standard_normal(len(X) + 8), np.full(9, 1.0 / 3.0), "valid")
            + waves * np.sin(2.0 * np.pi * X / 0.3 + phase),
        )
        for phase in (0.3, 2.5, 4.4)
    )
    return mean_curve(strokes), strokes


def test_noise_drawn_anew_is_that_of_the_mean_and_the_same_each_time() -> None:
    """Noise of 1 mN on each of three strokes is 1 / sqrt 3 on their mean."""
    curve, strokes = three_strokes(0.001)
    copies = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, strokes, SETTINGS.uncertainty)]
    again = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, strokes, SETTINGS.uncertainty)]

    assert np.std(copies) == pytest.approx(0.001 / np.sqrt(3.0), rel=0.1)
    assert np.array_equal(copies, again)
    assert copies[0] == pytest.approx(-copies[1], abs=1e-12)  # in pairs, so that what is linear does not lean


def test_noise_drawn_anew_keeps_the_waves_of_a_trembling_hand() -> None:
    """Waves of 0.3 mm average out over a millimetre; noise as white as the kernel lets it be would not."""
    curve, strokes = three_strokes(0.0, waves=0.002)
    copies = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, strokes, SETTINGS.uncertainty)]
    over_0_3_mm = [np.convolve(copy, np.full(30, 1.0 / 30.0), "valid")[200:600] for copy in copies]

    assert np.std(over_0_3_mm) < 0.1 * np.std(copies)


def lopsided_strokes(random: np.random.Generator) -> tuple[Curve, ...]:
    """Three strokes of a let-off that rises at 0.05 N/mm and falls at 0.35 N/mm, each with noise of 0.7 mN."""
    kernel = equivalent_kernel(a_curve(X, np.zeros_like(X)))
    kernel = kernel / np.sqrt(np.sum(kernel**2))
    shape = 0.5 + 0.05 * (X - 6.0) - 0.4 * np.clip(X - 8.0, 0.0, 0.6)
    smooth_shape = smoothed_again(a_curve(X, shape)).down_newton
    return tuple(
        a_curve(
            X, smooth_shape + 0.0007 * np.convolve(random.standard_normal(len(X) + len(kernel) - 1), kernel, "valid")
        )
        for _ in range(3)
    )


def test_a_top_that_chance_has_sharpened_does_not_pass_for_a_sure_one() -> None:
    """Monte Carlo of the thing itself: 60 keys of the same shape. Noise on a curve already noisy claims, of some keys,
    a quarter of the scatter there is; noise on the curve smoothed once more never claims less than half."""
    random = np.random.default_rng(5)
    tops, told, plain = [], [], []
    for _ in range(60):
        strokes = lopsided_strokes(random)
        curve = mean_curve(strokes)
        copies = list(noisy_copies(curve, strokes, SETTINGS.uncertainty))
        tops.append(X[np.argmax(curve.down_newton[:900])])
        told.append(top_scatter_mm(curve, smoothed_again(curve), copies, from_mm=7.0, to_mm=8.6))
        plain.append(np.std([X[np.argmax(copy.down_newton[:900])] for copy in copies]))
    scatter = float(np.std(tops))

    assert min(plain) < 0.35 * scatter
    assert min(told) > 0.5 * scatter
    assert 0.9 * scatter < np.sqrt(np.mean(np.square(told))) < 1.7 * scatter  # rounder, so on the safe side


def test_noise_known_from_elsewhere_is_the_least_that_is_stated() -> None:
    assert noise_line([1.0, 3.0], "mm", at_least=0.2).u == pytest.approx(np.sqrt(2.0))
    assert noise_line([1.0, 1.0], "mm", at_least=0.2).u == 0.2
    assert noise_line([], "mm", at_least=0.2).u == 0.2


def test_noise_of_a_single_stroke_has_its_stated_standard_error() -> None:
    key = SyntheticKey()
    curve = a_curve(X, key.force_down(X), key.force_up(X), u=0.002)
    copies = [copy.down_newton - curve.down_newton for copy in noisy_copies(curve, (curve,), SETTINGS.uncertainty)]

    assert np.std(copies) == pytest.approx(0.002, rel=0.1)


def a_stroke(number: int, zeros: tuple[tuple[float, float], ...]) -> Stroke:
    way = np.array([0.0, 1.0])
    branch = Branch(np.array([0.0, 1.0]) + number, way, way)
    return Stroke(branch, None, 0.0, zeros[0][1], 0.0, preloaded=False, travel_mm=10.0, zeros=zeros)


def test_a_zero_that_wanders_leaves_what_a_walk_known_at_both_ends_does() -> None:
    """Monte Carlo of the thing itself: walks of 0.1 mN a root second, read before and after 6 s, held against the line
    between the readings at a quarter and three quarters of the way."""
    random = np.random.default_rng(11)
    told, erred, opposite = [], [], []
    for _ in range(400):
        walk = np.cumsum(random.normal(0.0, 1e-4 * np.sqrt(0.1), 241))  # 0.1 s steps, 24 s: three strokes of 6 s, rests
        ends = [(80 * number, 80 * number + 60) for number in range(3)]
        drift = zero_drift(
            tuple(a_stroke(n, ((0.1 * a, walk[a]), (0.1 * b, walk[b]))) for n, (a, b) in enumerate(ends))
        )
        off = np.mean(
            [[walk[a + at] - walk[a] - (walk[b] - walk[a]) * at / 60 for at in (15, 45)] for a, b in ends], axis=0
        )
        told.append((drift.together_newton**2, drift.apart_newton**2))
        erred.append(off.mean() ** 2)
        opposite.append(((off[0] - off[1]) / 2.0) ** 2)

    together, apart = np.mean(told, axis=0)
    # the mean of 400 squares of a normal deviate is known to 7 %; at the quarters a bridge has 9/8 of its mean variance
    assert together == pytest.approx(np.mean(erred), rel=0.25)
    assert apart == pytest.approx(np.mean(opposite), rel=0.25)


def test_a_zero_that_drifts_evenly_leaves_nothing() -> None:
    strokes = tuple(a_stroke(n, ((8.0 * n, 1e-3 * n), (8.0 * n + 6.0, 1e-3 * n + 0.75e-3))) for n in range(3))

    assert zero_drift(strokes).u_newton == pytest.approx(0.0, abs=1e-12)
