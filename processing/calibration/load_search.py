"""Which readings or masses do not fit the rest of a loading sequence.

How it works: the stated force of each step is fitted by its counts (and their square, if there are five loads), a zero
and a drift that rises with time. Then every single explanation is tried: this visit carried another load; this mass is
another than stated, wherever it lay. The one that takes away most of the residual sum of squares is believed if chance
would hardly do that (F test, Bonferroni over all tried) and if it matters; then the next is sought beside it.
Sources: the first round for visits is the test of the largest deleted residual (Cook & Weisberg 1982, 2.2); F test.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from processing.calibration.sequence import LoadStep, same_stack
from processing.calibration.settings import MistakeSettings
from processing.stages import FloatArray

LOADS_FOR_A_SQUARE = 5
"""With fewer a curvature and a wrong mass look the same."""
ROUNDING_SHARE = 1e-9
"""Of the largest force: under this, scatter is rounding and tells nothing."""


@dataclass(frozen=True, slots=True)
class Suspect:
    """One explanation: visit (its first and last step), or masses that always lay together; one of both is empty."""

    visit: tuple[int, int] | None
    masses: tuple[str, ...]
    off_newton: float
    """True load less stated load; for masses: of them together, each time they lay on."""
    u_newton: float
    rivals: tuple[Suspect, ...] = ()
    """Explanations that fit as well; their own rivals are empty."""


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    visit: tuple[int, int] | None
    masses: tuple[str, ...]
    column: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    coefficients: FloatArray
    rss: float
    dof: int
    unscaled: FloatArray


def find_suspects(
    steps: Sequence[LoadStep], force_newton: FloatArray, kept: Sequence[int], settings: MistakeSettings
) -> tuple[Suspect, ...]:
    """Return what does not fit, in the order in which it was found. kept: places of the steps to look at.

    force_newton: stated, (N,) for all steps. Empty if there are too few steps to tell.
    """
    if not kept:
        return ()
    largest = float(np.max(np.abs(force_newton[list(kept)]), initial=0.0))
    candidates, design = _candidates(steps, kept), _design(steps, force_newton, kept)
    stated = force_newton[list(kept)]
    found: list[tuple[_Candidate, tuple[_Candidate, ...]]] = []
    while len(found) < settings.most_mistakes:
        now = _solve(_beside(design, found), stated, largest)
        tried = [(_solve(_beside(design, found, one), stated, largest), one) for one in candidates]
        tried = [(solved, one) for solved, one in tried if solved.dof >= 2 and _is_regular(solved)]
        if not tried:
            break
        best, chosen = min(tried, key=lambda pair: pair[0].rss)
        f = (now.rss - best.rss) / (best.rss / best.dof)
        matters = abs(best.coefficients[-1]) > settings.least_share * largest
        if not matters or fdtrc(1.0, best.dof, max(f, 0.0)) > settings.false_alarm / len(candidates):
            break
        rivals = tuple(
            one for solved, one in tried if one is not chosen and solved.rss < best.rss * (1.0 + 9.0 / best.dof)
        )
        found.append((chosen, rivals))
        candidates = [one for one in candidates if one is not chosen]
    return _told(found, design, stated, largest)


def _candidates(steps: Sequence[LoadStep], kept: Sequence[int]) -> list[_Candidate]:
    """Return every visit, and every group of masses that lay in more than one visit, each with its column."""
    found = []
    for first, last in _visits(steps, kept):
        column = np.array([float(first <= place <= last) for place in kept])
        found.append(_Candidate((first, last), (), column))
    columns: dict[bytes, list[str]] = {}
    for name in sorted({name for place in kept for name in steps[place].masses}):
        lies = np.array([float(steps[place].masses.count(name)) for place in kept])
        columns.setdefault(lies.tobytes(), []).append(name)
    known = {one.column.tobytes() for one in found}
    for raw, names in columns.items():
        if raw not in known:
            found.append(_Candidate(None, tuple(names), np.frombuffer(raw)))
    return found


def _visits(steps: Sequence[LoadStep], kept: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and last step of each stretch in which the stack was not changed."""
    found: list[tuple[int, int]] = []
    for place in kept:
        if found and found[-1][1] == place - 1 and same_stack(steps[place], steps[place - 1]):
            found[-1] = (found[-1][0], place)
        else:
            found.append((place, place))
    return found


def _design(steps: Sequence[LoadStep], force_newton: FloatArray, kept: Sequence[int]) -> FloatArray:
    counts = np.array([steps[place].mean_counts for place in kept])
    time_s = np.array([steps[place].time_s for place in kept])
    shown = counts / max(float(np.max(np.abs(counts), initial=0.0)), 1.0)
    columns = [np.ones_like(shown), (time_s - time_s.mean()) / max(float(np.ptp(time_s)), 1e-9), shown]
    if len(np.unique(np.round(force_newton[list(kept)], 9))) > LOADS_FOR_A_SQUARE:  # the empty pan is one more
        columns.append(shown**2)
    return np.column_stack(columns)


def _beside(
    design: FloatArray, found: Sequence[tuple[_Candidate, tuple[_Candidate, ...]]], one: _Candidate | None = None
) -> FloatArray:
    """Return the columns of the fit with those of the explanations; stated = curve - off, so theirs are negative."""
    more = [-chosen.column for chosen, _ in found] + ([] if one is None else [-one.column])
    return np.column_stack([design, *more])


def _solve(design: FloatArray, stated: FloatArray, largest: float) -> _Solved:
    """Return the fit; where columns hang together `unscaled` is infinite, so that nobody believes it."""
    solution, _, rank, _ = np.linalg.lstsq(design, stated, rcond=1e-10)
    coefficients = np.asarray(solution, np.float64)
    dof = len(stated) - design.shape[1]
    rss = float(np.sum((stated - design @ coefficients) ** 2)) + max(dof, 1) * (ROUNDING_SHARE * largest) ** 2
    unscaled = np.full((design.shape[1], design.shape[1]), np.inf)
    if rank == design.shape[1]:
        unscaled = np.asarray(np.linalg.pinv(design.T @ design), np.float64)
    return _Solved(coefficients, rss, dof, unscaled)


def _is_regular(solved: _Solved) -> bool:
    return bool(np.isfinite(solved.unscaled[-1, -1]))


def _told(
    found: Sequence[tuple[_Candidate, tuple[_Candidate, ...]]], design: FloatArray, stated: FloatArray, largest: float
) -> tuple[Suspect, ...]:
    """Return the explanations with their sizes from the fit of all together; rivals from a fit in their place."""
    together, suspects = _solve(_beside(design, found), stated, largest), []
    for place, (chosen, rivals) in enumerate(found):
        others = [pair for pair in found if pair[0] is not chosen]
        instead = tuple(
            _suspect(rival, _solve(_beside(design, others, rival), stated, largest), -1) for rival in rivals
        )
        suspects.append(_suspect(chosen, together, design.shape[1] + place, instead))
    return tuple(suspects)


def _suspect(one: _Candidate, solved: _Solved, column: int, rivals: tuple[Suspect, ...] = ()) -> Suspect:
    u = (
        float(np.sqrt(solved.rss / max(solved.dof, 1) * solved.unscaled[column, column]))
        if _is_regular(solved)
        else np.inf
    )
    return Suspect(one.visit, one.masses, float(solved.coefficients[column]), u, rivals)
