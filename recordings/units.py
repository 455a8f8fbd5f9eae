"""Units at the border: what people and their files write, and the factor to ours. Inside only N, mm and us exist.

The factors are pint's; the table only says which of pint's names a suffix of the contract means.
"""

from __future__ import annotations

from functools import cache

from recordings.errors import UnknownUnit

PINT_NAMES = {
    "time": {"s": "second", "ms": "millisecond", "us": "microsecond"},
    "displacement": {"mm": "millimeter", "um": "micrometer", "in": "inch"},
    "force": {
        "N": "newton",
        "mN": "millinewton",
        "gf": "gram_force",
        "kgf": "kilogram_force",
        "ozf": "ounce_force",
        "lbf": "pound_force",
    },
}
OURS = {"time": "us", "displacement": "mm", "force": "N"}


@cache
def factor_to_ours(quantity: str, unit: str) -> float:
    """Return what a value in `unit` is multiplied with to be in us, mm or N. Raises UnknownUnit.

    quantity: `time`, `displacement` or `force`.
    >>> factor_to_ours("displacement", "in")
    25.4
    """
    known = PINT_NAMES[quantity]
    if unit not in known:
        raise UnknownUnit(quantity, unit, tuple(known))
    from pint import UnitRegistry

    registry: UnitRegistry[float] = UnitRegistry()
    return float(registry.Quantity(1.0, known[unit]).to(known[OURS[quantity]]).magnitude)
