"""When did it change, and how: a lasting step, a drift that goes on, a batch that comes and goes, or one unit.

How it works: each kind is a shape (0 before, then 1, or rising by 1 a unit, or 1 from one unit to another); for every
place where it may begin (and end) the shape is fitted by least squares beside a free level, which for normal,
independent units is maximum likelihood. The kind is the one with the least Schwarz criterion, in which places count as
parameters like sizes. The interval of a place holds the most credible places that together have the stated probability,
level, size and spread integrated out under flat priors; places before the end of the baseline are not asked.
Sources: maximum likelihood of a change point: Hinkley, Biometrika 57:1 (1970); of steps and drifts behind a control
chart: Samuel, Pignatiello & Calvin 1998, Perry & Pignatiello 2006; flat priors: Smith, Biometrika 62:407 (1975)
(all from memory; how often the intervals hold the truth is tried in tests/processing/control).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from processing.stages import BoolArray, FloatArray

EventKind = Literal["step", "drift", "batch", "single unit"]
FEWEST_LASTING = 3
"""Units after a change before a step or a drift is called so: a change of the last two may be a batch that goes on."""
LONGEST_BATCH = 400
"""Units; a longer one is told as a step there and a step back. Else a line of thousands would fill the memory."""
PARAMETERS: dict[EventKind, int] = {"step": 2, "drift": 2, "batch": 3, "single unit": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A change in a series. Places are positions in the series, from 0, in the order of time."""

    kind: EventKind
    first: int
    """The first unit that differs."""
    first_between: tuple[int, int]
    """Its interval, ends included."""
    last: int | None
    """The last unit that differs; None: it lasts."""
    last_between: tuple[int, int] | None
    size: float
    """By how much units differ; a drift: the last unit of the series."""
    size_u: float
    """Standard uncertainty of the size, its place taken for known."""
    count: int
    """Units of the series."""

    @property
    def contribution(self) -> FloatArray:
        """Return what the event adds to every unit, (count,)."""
        place = np.arange(self.count)
        if self.kind == "drift":
            rise = np.clip(place - self.first + 1.0, 0.0, None)
            added: FloatArray = self.size * rise / rise[-1]
            return added
        end = self.count - 1 if self.last is None else self.last
        return np.where((place >= self.first) & (place <= end), self.size, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Fits:
    """All fits of one kind: where each begins and ends, its size, squared residuals, norm of its shape. (K,)"""

    kind: EventKind
    first: FloatArray
    last: FloatArray
    size: FloatArray
    squares: FloatArray
    norm: FloatArray

    @property
    def best(self) -> int:
        return int(np.argmin(self.squares))


def find_event(values: FloatArray, *, after: int, coverage: float = 0.95) -> Event | None:
    """Return the event that explains a series best.

    values: (N,), oldest first, finite. after: units of the baseline, in which nothing is sought.
    None: fewer than two units follow the baseline, or all values are equal.
    """
    if len(values) - after < 2 or np.ptp(values) == 0.0:
        return None
    centred = values - values.mean()
    found = [fits for fits in (_levels(centred, after), _drifts(centred, after)) if fits is not None]
    kinds = [one for fits in found for one in (_by_kind(fits, len(values)) if fits.kind == "batch" else (fits,))]
    best = min(kinds, key=lambda fits: _criterion(fits, len(values)))
    return _as_event(best, len(values), coverage)


def _levels(centred: FloatArray, after: int) -> _Fits:
    """Fit a level that differs from one unit to another, for all such pairs; a step ends with the series."""
    count = len(centred)
    begins, long = np.arange(after, count), np.arange(min(count, LONGEST_BATCH))
    first, last = (places.ravel() for places in np.broadcast_arrays(begins[:, None], begins[:, None] + long))
    first, last = first[last < count - 1], last[last < count - 1]
    first, last = np.concatenate([first, begins]), np.concatenate([last, np.full(len(begins), count - 1)])
    summed = np.concatenate([[0.0], np.cumsum(centred)])
    units = (last - first + 1).astype(np.float64)
    total = summed[last + 1] - summed[first]
    squares = float(centred @ centred)
    return _fits("batch", first.astype(np.float64), last.astype(np.float64), total, units - units**2 / count, squares)


def _drifts(centred: FloatArray, after: int) -> _Fits | None:
    """Fit a line that begins to rise at a unit and is 1 at the last, for all such units."""
    count = len(centred)
    first = np.arange(after, count - FEWEST_LASTING + 1)
    if len(first) == 0:
        return None
    late = np.cumsum(centred[::-1])[::-1]
    products = np.cumsum(late[::-1])[::-1][first]  # of (1, 2, 3, ...) with the units from each on
    rising = (count - first).astype(np.float64)
    norm = (rising + 1.0) * (2.0 * rising + 1.0) / (6.0 * rising) - (rising + 1.0) ** 2 / (4.0 * count)
    last = np.full(len(first), count - 1.0)
    return _fits("drift", first.astype(np.float64), last, products / rising, norm, float(centred @ centred))


def _fits(
    kind: EventKind, first: FloatArray, last: FloatArray, product: FloatArray, norm: FloatArray, squares: float
) -> _Fits:
    left = squares - product**2 / norm
    return _Fits(kind, first, last, product / norm, np.maximum(left, 1e-12 * squares), norm)


def _by_kind(fits: _Fits, count: int) -> tuple[_Fits, ...]:
    """Deal levels that differ out to steps, batches and single units."""
    to_the_end, long = fits.last == count - 1, fits.last - fits.first + 1
    where: dict[EventKind, BoolArray] = {
        "step": to_the_end & (long >= FEWEST_LASTING),
        "single unit": long == 1,
        "batch": (long > 1) & ~(to_the_end & (long >= FEWEST_LASTING)),
    }
    return tuple(_some(fits, kind, which) for kind, which in where.items() if which.any())


def _some(fits: _Fits, kind: EventKind, which: BoolArray) -> _Fits:
    return _Fits(kind, fits.first[which], fits.last[which], fits.size[which], fits.squares[which], fits.norm[which])


def _criterion(fits: _Fits, count: int) -> float:
    """Return Schwarz's criterion of the best fit, up to a constant."""
    return float(count * np.log(fits.squares[fits.best]) + PARAMETERS[fits.kind] * np.log(count))


def _as_event(fits: _Fits, count: int, coverage: float) -> Event:
    best = fits.best
    weight = -0.5 * np.log(fits.norm) - 0.5 * (count - 2) * np.log(fits.squares / fits.squares[best])
    weight = np.exp(weight - weight.max())
    lasting = fits.kind in ("step", "drift")
    sigma = np.sqrt(fits.squares[best] / max(1, count - 2))
    return Event(
        kind=fits.kind,
        first=int(fits.first[best]),
        first_between=_between(fits.first, weight, count, coverage),
        last=None if lasting else int(fits.last[best]),
        last_between=None if lasting else _between(fits.last, weight, count, coverage),
        size=float(fits.size[best]),
        size_u=float(sigma / np.sqrt(fits.norm[best])),
        count=count,
    )


def _between(places: FloatArray, weight: FloatArray, count: int, coverage: float) -> tuple[int, int]:
    """Return the ends of the most credible places that together hold the stated probability."""
    credible = np.bincount(places.astype(int), weight, count)
    order = np.argsort(-credible, kind="stable")
    needed = int(np.searchsorted(np.cumsum(credible[order]), coverage * credible.sum())) + 1
    chosen = order[:needed]
    return int(chosen.min()), int(chosen.max())
