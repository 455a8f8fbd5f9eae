"""The units in which people may write a number of a measurand, and the factor to ours."""

from __future__ import annotations

from difflib import get_close_matches

from processing.features.table import FEATURES
from recordings.errors import UnknownUnit
from recordings.units import factor_to_ours

QUANTITY_OF = {"N": "force", "mm": "displacement", "ms": "time", "s": "time"}
UNIT_OF = {feature.name: feature.unit for feature in FEATURES}


def factor_for(measurand: str, unit: str) -> float:
    """Return what a number in `unit` is multiplied with to be in the measurand's own unit. Raises UnknownUnit.

    >>> factor_for("key_dip", "in"), factor_for("letoff_slope", "N/mm")
    (25.4, 1.0)
    """
    ours = UNIT_OF[measurand]
    tops, bottoms = zip(*(_halves(one) for one in (ours, unit)), strict=True)
    if unit == ours:
        return 1.0
    if (bottoms[0] is None) != (bottoms[1] is None) or tops[0] not in QUANTITY_OF:
        raise UnknownUnit(measurand, unit, (ours,))
    factor = _factor(tops[0], tops[1])
    return factor if bottoms[0] is None or bottoms[1] is None else factor / _factor(bottoms[0], bottoms[1])


def _halves(unit: str) -> tuple[str, str | None]:
    top, bar, bottom = unit.partition("/")
    return top, bottom if bar else None


def _factor(ours: str, told: str) -> float:
    quantity = QUANTITY_OF[ours]
    return factor_to_ours(quantity, told) / factor_to_ours(quantity, ours)


def like_it(name: str) -> str:
    """Return which measurands a name that is none may stand for, as advice."""
    close = get_close_matches(name, UNIT_OF, n=2)
    return f"perhaps {' or '.join(close)}; README.md lists them all" if close else "README.md lists them all"
