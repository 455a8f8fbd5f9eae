"""A trial of a rig that is as it should be, built from nothing but numbers; a test spoils one thing of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from recordings.trial import AirMove, Approach, Touch, Trial, Untried
from recordings.types import Calibration, Damage, LinearScale, RawTrace, RigInfo

Array = NDArray[np.float64]
RATE_HZ = 1000.0
COUNTS_PER_NEWTON, COUNTS_PER_MM = 20_000.0, 500.0
NOISE_NEWTON = 0.003
LEFT_OUT = Untried("left out by the test", "try it")


@dataclass(frozen=True, kw_only=True)
class TriedRig:
    """The rig of a trial in numbers."""

    rest_s: float = 10.0
    rate_hz: float = RATE_HZ
    noise_newton: float = NOISE_NEWTON
    zero_newton: float = 0.05
    force_sign: float = 1.0
    place_scale: float = 1.0
    """What the gauge shows over what is true; negative: it runs backwards."""
    backlash_mm: float = 0.0
    air_newton: float = 0.0
    """What the force changes by over the way in the air."""
    run_on_mm: float = 0.03
    ended_by_limit: bool = True
    seed: int = 1


def white(count: int, sigma: float = NOISE_NEWTON, seed: int = 1) -> Array:
    return sigma * np.random.default_rng(seed).standard_normal(count)


def seconds(count: int, rate_hz: float = RATE_HZ) -> Array:
    return np.arange(count) / rate_hz


def a_stretch(force_newton: Array, place_mm: Array | float = 0.0, rate_hz: float = RATE_HZ) -> RawTrace:
    """Counts of a force and a place, evenly sampled from sample 0."""
    count = len(force_newton)
    return RawTrace(
        np.arange(count, dtype=np.int64),
        np.rint(np.arange(count) * 1e6 / rate_hz).astype(np.int64),
        np.rint(force_newton * COUNTS_PER_NEWTON).astype(np.int32),
        np.rint(np.broadcast_to(place_mm, count) * COUNTS_PER_MM).astype(np.int32),
    )


def a_trial(
    how: TriedRig | None = None,
    *,
    rest: RawTrace | None = None,
    air: AirMove | Untried | None = None,
    touch: Touch | Untried | None = None,
    damage: tuple[Damage, ...] = (),
    stated_hz: float | None = RATE_HZ,
) -> Trial:
    how = how or TriedRig()
    if rest is None:
        rest = a_stretch(_force(how, round(how.rest_s * how.rate_hz), 0), rate_hz=how.rate_hz)
    return Trial(
        started_at=datetime(2026, 3, 1, 12, 0, tzinfo=UTC),
        rig=RigInfo(model="a rig", serial_number="1", firmware="1", sample_rate_hz=stated_hz),
        calibration=Calibration(
            force=_scale("N", COUNTS_PER_NEWTON),
            displacement=_scale("mm", COUNTS_PER_MM),
            compliance_mm_per_newton=0.0,
            force_delay_us=0,
        ),
        force_range_newton=20.0,
        travel_mm=(0.0, 25.0),
        rest=rest,
        air=an_air_move(how) if air is None else air,
        touch=a_touch(how) if touch is None else touch,
        damage=damage,
    )


def _scale(unit: str, counts_per_unit: float) -> LinearScale:
    return LinearScale(
        counts_per_unit=counts_per_unit, zero_counts=0, unit=unit, calibrated_on=None, reference="a test"
    )


def _force(how: TriedRig, count: int, seed_on: int, load: Array | float = 0.0) -> Array:
    return how.zero_newton + how.force_sign * load + white(count, how.noise_newton, how.seed + seed_on)


def an_air_move(how: TriedRig | None = None) -> AirMove:
    how = how or TriedRig()
    down = np.concatenate([np.linspace(0.0, 2.0, 500), np.full(100, 2.0)]) * how.place_scale
    return AirMove(
        commanded_mm=2.0,
        at_top=a_stretch(_force(how, 300, 1)),
        at_bottom=a_stretch(_force(how, 300, 2) + how.air_newton, 2.0 * how.place_scale),
        back_at_top=a_stretch(_force(how, 300, 3), how.backlash_mm),
        moving=(a_stretch(_force(how, 600, 4), down), a_stretch(_force(how, 600, 5), down[::-1])),
    )


def a_touch(how: TriedRig | None = None) -> Touch:
    """The key is met at 3 mm and presses back with 0.5 N."""
    how = how or TriedRig()
    way = np.concatenate([np.linspace(2.4, 3.0, 60), np.full(100, 3.0 + how.run_on_mm)])
    on_key = np.where(way >= 3.0, 0.5, 0.0)
    return Touch(
        limit_newton=0.15,
        in_air=a_stretch(_force(how, 300, 6)),
        on_key=a_stretch(_force(how, 300, 7, 0.5), 3.0),
        approach=Approach(
            limit_newton=0.15,
            speed_mm_per_s=10.0,
            ended_by_limit=how.ended_by_limit,
            trace=a_stretch(_force(how, len(way), 8, on_key), way),
        ),
    )
