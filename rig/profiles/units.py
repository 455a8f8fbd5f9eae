"""The units that a profile may name, as exact factors to what is kept: whole 1 uN, 1 nm and 1 us.

Sources: standard gravity 9.80665 m/s2 exactly (3rd CGPM, 1901); 1 lb = 0.45359237 kg and 1 in = 25.4 mm exactly
(International yard and pound agreement, 1959; NIST SP 811, appendix B); 16 oz = 1 lb.
"""

from __future__ import annotations

from decimal import Decimal

GRAVITY = Decimal("9.80665")
POUND_KG = Decimal("0.45359237")
MICRO = 1_000_000

MICRONEWTON_PER = {
    "N": Decimal(MICRO),
    "mN": Decimal(1000),
    "gf": GRAVITY / 1000 * MICRO,
    "kgf": GRAVITY * MICRO,
    "ozf": POUND_KG * GRAVITY * MICRO / 16,
    "lbf": POUND_KG * GRAVITY * MICRO,
}
NANOMETRE_PER = {"mm": Decimal(MICRO), "um": Decimal(1000), "in": Decimal("25.4") * MICRO}
MICROSECOND_PER = {"s": Decimal(MICRO), "ms": Decimal(1000), "us": Decimal(1)}
