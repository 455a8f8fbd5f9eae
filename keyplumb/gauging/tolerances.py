"""What a gauge is held against: the width of a tolerance as people type it, or the limits of a limits file."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from processing.errors import MalformedLimits
from processing.gauge.readings import Reading
from processing.gauge.verdict import Tolerance
from processing.limits.types import Limits
from processing.measurand_units import UNIT_OF
from recordings.keys import Key
from recordings.units import OURS, PINT_NAMES, factor_to_ours

NUMBER = re.compile(r"\s*([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*([^\s0-9]*)\s*")


def quantity(text: str) -> tuple[float, str]:
    """Return a positive number in N or mm, or in the unit it is told in, and that unit; "1" for none.

    Raises ValueError.
    >>> quantity("250um")
    (0.25, 'mm')
    """
    found = NUMBER.fullmatch(text)
    value = float(found[1]) if found and found[1].count(".") <= 1 and found[1] != "." else math.nan
    if found is None or not value > 0.0:
        raise ValueError(f"{text!r} is no width; write a number above 0 and its unit, as in 6gf or 0.3mm")
    for kind in ("force", "displacement"):
        if found[2] in PINT_NAMES[kind]:
            return value * factor_to_ours(kind, found[2]), OURS[kind]
    return value, found[2] or "1"


def tolerance_of(text: str) -> tuple[str, Tolerance]:
    """Return measurand and tolerance of a text like "down_weight=6gf". Raises ValueError.

    The width runs from limit to limit. A name that is no measurand is that of a column `measurand` in a table.
    """
    name, sign, told = text.partition("=")
    if not name or not sign:
        raise ValueError(f"{text!r}: write MEASURAND=WIDTH, as in down_weight=6gf")
    value, unit = quantity(told)
    expected = UNIT_OF.get(name, unit)
    if unit != expected:
        raise ValueError(f"{name} is told in {expected}, not in {told}; write the width with its unit, as in 6gf")
    return name, Tolerance(value)


def limited(limits: Limits) -> tuple[str, ...]:
    """Return the measurands that a limits file gives values for, in its order."""
    return tuple(dict.fromkeys(limit.measurand for limit in limits.values))


def tolerance_in(limits: Limits, measurand: str, readings: Sequence[Reading]) -> Tolerance | None:
    """Return the room that limits leave to the keys of a study; None: no limit is about them.

    Of several limits of a key the strictest on each side counts, and of the keys the narrowest; where there are only
    limits on one side, the mean distance from a key's readings to its limit. Raises MalformedLimits if no reading of a
    key could be within all of its limits.
    """
    widths: list[float] = []
    rooms: list[float] = []
    for name in dict.fromkeys(reading.part for reading in readings):
        key, values = Key.from_name(name), [reading.value for reading in readings if reading.part == name]
        lower, upper = _strictest(limits, measurand, key)
        if lower is not None and upper is not None:
            widths.append(upper - lower)
        else:
            mean = math.fsum(values) / len(values)
            rooms += [abs(end - mean) for end in (lower, upper) if end is not None]
    if widths:
        return Tolerance(min(widths))
    return Tolerance(math.fsum(rooms) / len(rooms), sides=1) if rooms else None


def _strictest(limits: Limits, measurand: str, key: Key) -> tuple[float | None, float | None]:
    ends = [limit.ends(key) for limit in limits.values if limit.measurand == measurand and key in limit.keys]
    lower = max((low for low, _ in ends if low is not None), default=None)
    upper = min((high for _, high in ends if high is not None), default=None)
    if lower is not None and upper is not None and lower >= upper:
        unit = UNIT_OF[measurand]
        raise MalformedLimits(
            f"{limits.file_name or limits.name}: two limits of {measurand} contradict each other: one wants {key.name} "
            f"to have {lower:g} {unit} at least, another {upper:g} {unit} at most; mend one of them"
        )
    return lower, upper
