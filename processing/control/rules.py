"""Rules by which a run of points is unlikely under no change, named in words, each with how often it cries wolf.

How it works: a rule takes standardised points (value - centre) / sigma and says at which of them it is fulfilled. How
often a rule speaks without cause is told as its average run length: so many units pass between false alarms, centre and
sigma known, units independent and normal. The more rules are used together, the more often one of them is wrong.
Source: runs rules as in the e-Handbook 6.3.2 and ISO 7870-2 (from memory); average run lengths by `average_run_length`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from processing.stages import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its name in words, where it is fulfilled, and its average run length under no change."""

    name: str
    fulfilled: Callable[[FloatArray], BoolArray]
    """Points (..., N) to truth (..., N), at the last point of each run."""
    run_length: float
    """Units from one false alarm to the next, counted from a fresh start; 2 % or better."""


@dataclass(frozen=True, slots=True)
class RuleSeen:
    """A rule that is fulfilled, and at which points, from 0."""

    rule: Rule
    at: tuple[int, ...]


def rules_seen(points: FloatArray, rules: Sequence[Rule] | None = None) -> tuple[RuleSeen, ...]:
    """Return which rules standardised points (N,) fulfil and where; all of RULES unless some are named."""
    found = ((rule, np.flatnonzero(rule.fulfilled(points))) for rule in (RULES if rules is None else rules))
    return tuple(RuleSeen(rule, tuple(at.tolist())) for rule, at in found if len(at))


def average_run_length(
    rules: Sequence[Rule], *, shift: float = 0.0, runs: int = 4000, longest: int = 4096, seed: int = 0
) -> tuple[float, float]:
    """Return how many units pass until one of the rules is fulfilled, and the standard error of that mean.

    shift: of the centre, in sigma. Runs that last longer than `longest` are estimated from the share that ends,
    since after a few points a run ends with the same probability at every unit.
    """
    points = np.random.default_rng(seed).standard_normal((runs, longest)) + shift
    ended = np.zeros(points.shape, np.bool_)
    for rule in rules:
        ended |= rule.fulfilled(points)
    over = ended.any(axis=1)
    watched = np.where(over, ended.argmax(axis=1) + 1, longest).sum()
    mean = float(watched / over.sum())
    return mean, mean / float(np.sqrt(over.sum()))


def _windows(hits: BoolArray, of: int, needed: int) -> BoolArray:
    """Return where a point is a hit that is the last of `of` points with `needed` hits at least among them."""
    padded = np.concatenate([np.zeros((*hits.shape[:-1], of - 1), np.bool_), hits], axis=-1)
    enough: BoolArray = (sliding_window_view(padded, of, axis=-1).sum(axis=-1) >= needed) & hits
    return enough


def _either_side(points: FloatArray, beyond: float, of: int, needed: int) -> BoolArray:
    return _windows(points > beyond, of, needed) | _windows(points < -beyond, of, needed)


def _one_beyond(points: FloatArray) -> BoolArray:
    return np.abs(points) > 3.0


def _nine_on_one_side(points: FloatArray) -> BoolArray:
    return _either_side(points, 0.0, 9, 9)


def _six_rising_or_falling(points: FloatArray) -> BoolArray:
    steps = np.diff(points, axis=-1, prepend=points[..., :1])
    return _either_side(steps, 0.0, 5, 5)


def _fourteen_alternating(points: FloatArray) -> BoolArray:
    steps = np.diff(points, axis=-1, prepend=points[..., :1])
    turns = steps[..., 1:] * steps[..., :-1] < 0.0
    first = np.zeros((*points.shape[:-1], 1), np.bool_)
    return _windows(np.concatenate([first, turns], axis=-1), 12, 12)


def _two_of_three(points: FloatArray) -> BoolArray:
    return _either_side(points, 2.0, 3, 2)


def _four_of_five(points: FloatArray) -> BoolArray:
    return _either_side(points, 1.0, 5, 4)


def _fifteen_within(points: FloatArray) -> BoolArray:
    return _windows(np.abs(points) < 1.0, 15, 15)


def _eight_outside(points: FloatArray) -> BoolArray:
    return _windows(np.abs(points) > 1.0, 8, 8)


RULES = (
    #    in words                                                     where                    run length
    Rule("one point beyond three sigma",                              _one_beyond,             370.4),
    Rule("nine in a row on one side of the centre",                   _nine_on_one_side,       511.0),
    Rule("six in a row rising or falling",                            _six_rising_or_falling,  416.0),
    Rule("fourteen in a row going up and down by turns",              _fourteen_alternating,   601.0),
    Rule("two of three beyond two sigma on one side",                 _two_of_three,           516.0),
    Rule("four of five beyond one sigma on one side",                 _four_of_five,           296.0),
    Rule("fifteen in a row within one sigma",                         _fifteen_within,         963.0),
    Rule("eight in a row beyond one sigma, on either side",           _eight_outside,          14251.0),
)  # fmt: skip
