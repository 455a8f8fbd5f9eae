"""`make error-rates`: how often the statistics cry wolf, and how often they see the wolf.

How it works: keyboards are drawn as series of numbers, 52 naturals and 36 sharps a measurand: a trend, keys that
scatter about it and resemble their neighbours (AR(1) within a colour), the rig's own noise, and a drift over the
sitting that is told apart by five check keys measured again before and after it; the rig is right in the
middle, for what it has drifted before no check key can tell. All numbers are in units of the scatter of the keys, but
where gram-force is said. Beside every share stands its own 95 % interval (Clopper & Pearson, Biometrika 26:404, 1934;
by scipy).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from functools import partial
from multiprocessing import Pool
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest

from processing.comparison.compare import ask
from processing.comparison.curves import BandSettings, band_of, fading_of_curves
from processing.comparison.regions import PARTS
from processing.comparison.settings import ComparisonSettings
from processing.comparison.verdicts import holm
from processing.statistics.checked_again import OWN, SECONDS_PER_HOUR, CheckedAgain
from processing.statistics.correlated import Resemblance, resemblance_of
from processing.statistics.drift import Drift, drift_of
from processing.statistics.keyboard_statistics import standing_out
from processing.statistics.series import PLACES, Series
from processing.statistics.settings import StatisticsSettings
from processing.statistics.shared import SharedParts, nothing_shared
from processing.statistics.trend import trend_of
from recordings.keys import ALL_KEYS, Key

Array = NDArray[np.float64]
MapAll = Callable[[Callable[[int], Any], Iterable[int]], list[Any]]
COLOURS = ("natural", "sharp")
MEASURANDS = tuple(f"measurand {number}" for number in range(1, 9))
FADINGS = (0.0, 0.3, 0.5)
PARTIAL = (
    ("12 keys C4..B4", ALL_KEYS[39:51]),
    ("25 keys E2..E4", ALL_KEYS[19:44]),
    ("every sixth key", ALL_KEYS[::6]),
    ("61 keys C2..C7", ALL_KEYS[15:76]),
)
"""Keyboards of which only some keys were measured; three sharps of the second lie in the bass."""
SECONDS_A_KEY = 20.0
NOISE = 0.3
"""Of the rig, in units of the keys' scatter."""
DRIFT = 2.0
"""Standard deviation of the drift from the first key to the last, in units of the keys' scatter."""
CHECKED = (0.03, 0.25, 0.5, 0.75, 0.97)
"""Where check keys lie, as shares of the keyboard."""
SETTINGS, STATISTICS = ComparisonSettings(), StatisticsSettings()
ALPHA = 0.05
BAND_COVERAGE = 1.0 - ALPHA / 6.0
"""Of each band, so that the six that are spoken of hold together: three parts, two ways."""


@dataclass(frozen=True, slots=True)
class Rate:
    """How often something happened, and how often it should."""

    what: str
    trials: int
    hits: int
    stated: float | None
    """None: a power, of which nothing is stated."""

    @property
    def interval(self) -> tuple[float, float]:
        """95 % interval of the share."""
        low, high = binomtest(self.hits, self.trials).proportion_ci(0.95, "exact")
        return float(low), float(high)


def faded(random: np.random.Generator, count: int, fading: float) -> Array:
    """Return values (count,) of unit variance that correlate with their neighbours."""
    drawn = random.standard_normal(count)
    for index in range(1, count):
        drawn[index] = fading * drawn[index - 1] + np.sqrt(1.0 - fading**2) * drawn[index]
    return drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """How keyboards are drawn."""

    fading: float = 0.0
    scatter: float = 1.0
    drift: float = DRIFT
    off: float = 0.0
    """Standard deviation of what recordings are off by as a whole."""
    again: tuple[float, ...] = (-1.0, 1.0)
    """When the check keys are recorded again: -1 is before the keyboard, 0 amid it, 1 after it."""
    corrected: bool = True
    keys: tuple[Key, ...] = ALL_KEYS
    slope: float = -3.0
    """From A0 to C8."""
    bend: float = 0.0
    """How far the middle lies above the line from end to end."""


def keyboard(
    random: np.random.Generator, world: World, name: str = "down_weight", *, more: float = 0.0
) -> dict[tuple[str, str], Series]:
    """Return one measurand of one keyboard, a series a colour; `more` is added to all keys."""
    numbers = np.array([key.number for key in world.keys])
    times = _times(world)
    along = (numbers - 1) / 87.0
    noise = NOISE * random.standard_normal(len(numbers))
    values = more + world.slope * along + 4.0 * world.bend * along * (1.0 - along) + noise
    for colour in COLOURS:
        of_all = world.scatter * faded(random, sum(key.colour == colour for key in ALL_KEYS), world.fading)
        own = np.array([key.colour == colour for key in world.keys])
        values[own] += of_all[[PLACES[number] for number in numbers[own].tolist()]]
    rate = world.drift * random.standard_normal() / max(2.0 * times[-1], 1.0)
    off = world.off * random.standard_normal(1 + len(world.again))
    values, shared = _corrected(random, values + rate * times + off[0], noise, rate, off, world)
    return {(name, colour): _series(name, colour, world, values, shared) for colour in COLOURS}


def _times(world: World) -> Array:
    """Return when each key is recorded, in seconds from the middle of the sitting."""
    return SECONDS_A_KEY * (np.arange(len(world.keys)) - (len(world.keys) - 1) / 2.0)


def _corrected(
    random: np.random.Generator, values: Array, noise: Array, rate: float, off: Array, world: World
) -> tuple[Array, SharedParts]:
    """Return the values as they would have been in the middle of the sitting, and what they share by that."""
    if not world.corrected:
        return values, nothing_shared("N", len(values))
    last_s = _times(world)[-1]
    checked = sorted({round(share * (len(values) - 1)) for share in CHECKED})
    own = [CheckedAgain(world.keys[place], OWN, _times(world)[place], float(values[place])) for place in checked]
    levels = [
        one.value - float(noise[place]) - rate * one.time_s - float(off[0])
        for place, one in zip(checked, own, strict=True)
    ]
    again = [
        CheckedAgain(
            one.key, recording, time_s, level + rate * time_s + float(off[recording]) + random.normal(0.0, NOISE)
        )
        for one, level in zip(own, levels, strict=True)
        for recording, time_s in enumerate(last_s * np.array(world.again), 1)
    ]
    drift = drift_of([*own, *again], (-last_s, last_s))
    assert isinstance(drift, Drift)
    hours = _times(world) / SECONDS_PER_HOUR
    lines = [drift.lines("N", hour) for hour in hours]
    acting = np.array([[line.sensitivity for line in given] for given in lines])
    parts = SharedParts("N", tuple(replace(line, sensitivity=1.0) for line in lines[0]), acting, drift.correlations)
    return values + [sum(one.amount for one in drift.corrections(hour)) for hour in hours], parts


def _series(name: str, colour: str, world: World, values: Array, shared: SharedParts) -> Series:
    own = [index for index, key in enumerate(world.keys) if key.colour == colour]
    count = len(own)
    return Series(
        name=name,
        unit="N",
        colour=colour,
        numbers=tuple(world.keys[index].number for index in own),
        values=values[own],
        own_u=np.full(count, NOISE),
        own_dof=np.full(count, 100.0),
        shared=shared.only(own),
    )


def cries_wolf(seed: int, world: World) -> tuple[bool, float]:
    """Compare two keyboards that do not differ: is anything called different; share of single tests under 5 %."""
    random = np.random.default_rng((seed, 1))
    both: dict[tuple[str, str], tuple[Series, Series]] = {}
    for name in MEASURANDS:
        first, second = keyboard(random, world, name), keyboard(random, world, name)
        both |= {where: (first[where], second[where]) for where in first}
    asked = ask(both, one_record=False, settings=SETTINGS)
    each = [one.p_family for one in (*asked.differences, *asked.evenness)]
    return min(holm(each)) < ALPHA, float(np.mean(np.array(each) < ALPHA))


def sees_difference(seed: int, world: World, more: float) -> bool:
    """Compare two keyboards that differ in one measurand: is it called different among 200 other tests."""
    random = np.random.default_rng((seed, 2))
    first, second = keyboard(random, world), keyboard(random, world, more=more)
    both = {where: (first[where], second[where]) for where in first}
    asked = ask(both, one_record=False, settings=SETTINGS)
    return min(one.p_family for one in asked.differences) * 200 < ALPHA


def names_somebody(seed: int, world: World, tests: int) -> bool:
    """Search a keyboard of good keys for keys that stand out, as one of some tests of the keyboard."""
    random = np.random.default_rng((seed, 3))
    named = (
        standing_out(series, ALPHA / tests, STATISTICS)
        for _ in range(tests // 2)
        for series in keyboard(random, world).values()
    )
    return any(named)


def names_planted(seed: int, world: World, planted: int, more: float) -> bool:
    """Plant odd keys among the naturals, as 60 tests of a keyboard would search: are all of them named."""
    random = np.random.default_rng((seed, 4))
    series = keyboard(random, world)["down_weight", "natural"]
    where = random.choice(len(series.values), planted, replace=False)
    values = series.values.copy()
    values[where] += more
    changed = replace(series, values=values)
    named = {one.number for one in standing_out(changed, ALPHA / 60, STATISTICS)}
    return {series.numbers[index] for index in where} <= named


def trend_misses(seed: int, world: World) -> bool:
    """Whether the interval of the trend at A0 leaves out the truth."""
    random = np.random.default_rng((seed, 5))
    both = keyboard(random, world)
    resemblance = resemblance_of([(series.places, series.values) for series in both.values()])
    told = trend_of(both["down_weight", "natural"], resemblance, STATISTICS).at_a0
    assert told is not None
    return abs(told.value) > told.expanded()


def spread_misses(seed: int, world: World) -> bool:
    """Whether the interval of the keys' spread leaves out the truth."""
    series = keyboard(np.random.default_rng((seed, 6)), world)["down_weight", "natural"]
    low, high = trend_of(series, Resemblance(world.fading), STATISTICS).scatter.interval()
    return not low <= world.scatter <= high


def bands_cry_wolf(seed: int, fading: float, coverage: float) -> bool:
    """Compare the curves of two keyboards that do not differ, down and up, in three parts: does any band leave out 0.

    The ways resemble each other. As in a comparison, the resemblance of neighbours is asked over the whole keyboard.
    """
    random = np.random.default_rng((seed, 10))
    naturals = [key for key in ALL_KEYS if key.colour == "natural"]
    down = drawn_curves(random, len(naturals), fading)
    up = 0.7 * down + np.sqrt(0.51) * drawn_curves(random, len(naturals), fading)
    told = False
    for curves in (down, up):
        of_all = fading_of_curves([(tuple(range(len(naturals))), curves)])
        for part in PARTS:
            inside = [place for place, key in enumerate(naturals) if part.holds(key.number)]
            settings = BandSettings(step_mm=0.05, draws=500, seed=seed, coverage=coverage)
            u, factor = band_of(tuple(inside), curves[inside], of_all, np.zeros(curves.shape[1]), settings)
            told |= bool(np.any(np.abs(curves[inside].mean(axis=0)) > factor * u))
    return told


def drawn_curves(random: np.random.Generator, count: int, fading: float, way: int = 80) -> Array:
    """Return differences of curves (count, way): a smooth wandering along the way, and a level of each key."""
    kernel = np.exp(-0.5 * (np.arange(-12, 13) / 4.0) ** 2)
    rough = np.array([faded(random, count, fading) for _ in range(way + 24)]).T
    smooth = np.array([np.convolve(row, kernel / np.linalg.norm(kernel), "valid") for row in rough])
    curves: Array = smooth + 0.7 * faded(random, count, fading)[:, None]
    return curves


def rates(trials: int, map_all: MapAll) -> Iterable[Rate]:
    """Yield all rates, slow ones with as many trials as asked for. map_all: as the built-in map, to a list."""
    few = trials // 4
    worlds = [(f"neighbours correlate by {fading}", World(fading=fading)) for fading in FADINGS]
    for words, world in worlds:
        found = map_all(partial(cries_wolf, world=world), range(trials))
        yield Rate(f"any wolf among {len(MEASURANDS) * 10} tests of a pair, {words}", trials, _any(found), ALPHA)
        yield Rate(f"  single tests under 5 %, {words}", trials, round(sum(f[1] for f in found)), ALPHA)
    for words, keys in PARTIAL:
        found = map_all(partial(cries_wolf, world=World(keys=keys)), range(few))
        yield Rate(f"any wolf among the tests of a pair, {words}", few, _any(found), ALPHA)
    for off in (0.3, 1.0):
        found = map_all(partial(cries_wolf, world=World(off=off)), range(few))
        yield Rate(f"any wolf among the tests of a pair, recordings off as a whole by {off}", few, _any(found), ALPHA)
    drifting = partial(cries_wolf, world=World(corrected=False))
    yield Rate("any wolf, drift left in (no check keys)", trials, _any(map_all(drifting, range(trials))), ALPHA)
    for words, world in worlds:
        named = map_all(partial(names_somebody, world=world, tests=20), range(few))
        yield Rate(f"any good key named, 20 tests of a keyboard, {words}", few, sum(map(bool, named)), ALPHA)
    for words, world in worlds:
        missed = map_all(partial(trend_misses, world=World(fading=world.fading, drift=0.0)), range(trials))
        yield Rate(f"interval of the trend at A0 misses, {words}", trials, sum(map(bool, missed)), ALPHA)
    for bend in (1.0, 2.0):
        missed = map_all(partial(trend_misses, world=World(bend=bend, drift=0.0)), range(few))
        yield Rate(f"interval of the trend at A0 misses, bent by {bend:g}", few, sum(map(bool, missed)), ALPHA)
    missed = map_all(partial(spread_misses, world=World(drift=0.0)), range(trials))
    yield Rate("interval of the evenness misses", trials, sum(map(bool, missed)), ALPHA)
    for fading in (0.0, 0.5):
        cried = map_all(partial(bands_cry_wolf, fading=fading, coverage=BAND_COVERAGE), range(few))
        words = f"any of six bands over the travel leaves out 0, neighbours correlate by {fading}"
        yield Rate(words, few, sum(map(bool, cried)), ALPHA)
    yield from _powers(few, map_all)


def _powers(trials: int, map_all: MapAll) -> Iterable[Rate]:
    twelve = ALL_KEYS[39:51]
    for scatter in (1.0, 3.0):
        for words, keys in (("88 keys", ALL_KEYS), ("12 keys", twelve)):
            for more in (2.0, 4.0, 8.0):
                world = World(scatter=scatter, keys=keys, drift=0.0)
                seen = map_all(partial(sees_difference, world=world, more=more), range(trials))
                what = f"difference of {more:g} gf seen, {words} that scatter by {scatter:g} gf"
                yield Rate(what, trials, sum(map(bool, seen)), None)
    for words, again in (
        ("a third check amid it", (-1.0, 0.0, 1.0)),
        ("two more checks amid it", (-1.0, -0.3, 0.3, 1.0)),
    ):
        world = World(scatter=3.0, drift=0.0, again=again)
        seen = map_all(partial(sees_difference, world=world, more=4.0), range(trials))
        yield Rate(
            f"difference of 4 gf seen, 88 keys that scatter by 3 gf, {words}", trials, sum(map(bool, seen)), None
        )
    for planted in range(1, 6):
        for more in (4.0, 8.0):
            named = map_all(partial(names_planted, world=World(), planted=planted, more=more), range(trials))
            what = f"{planted} planted keys all named, off by {more:g} times the scatter"
            yield Rate(what, trials, sum(map(bool, named)), None)


def _any(found: list[Any]) -> int:
    return sum(bool(one[0]) for one in found)


def main() -> int:
    """Print the table; 1 if a stated rate is exceeded by half of it beyond doubt."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=2000, help="simulated pairs (default 2000)")
    parser.add_argument("--json", action="store_true", help="the rates as JSON")
    wanted = parser.parse_args()
    told = []
    with Pool(os.cpu_count()) as pool:
        for rate in rates(wanted.trials, lambda one, seeds: pool.map(one, seeds, chunksize=8)):
            told.append(rate)
            if not wanted.json:
                low, high = rate.interval
                stated = "" if rate.stated is None else f"stated {rate.stated:.0%}"
                share = rate.hits / rate.trials
                print(f"{rate.what:84}{share:7.1%}  {low:6.1%}..{high:.1%}  of {rate.trials}  {stated}", flush=True)
    if wanted.json:
        print(json.dumps({"schema": "keyplumb.error-rates/1", "rates": [asdict(rate) for rate in told]}))
    bound = [rate for rate in told if rate.stated is not None and "drift left in" not in rate.what]
    return int(any(rate.interval[0] > 1.5 * rate.stated for rate in bound if rate.stated))


if __name__ == "__main__":
    sys.exit(main())
