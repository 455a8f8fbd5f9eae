"""Values as people write them on a command line: a number with its uncertainty, a place, the room."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from processing.calibration.gravity import Gravity

NUMBER = r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?"
WITH_U = re.compile(rf"\s*({NUMBER})\s*(?:±|\+-|\+/-)\s*({NUMBER})\s*")
PLACE = re.compile(rf"\s*({NUMBER})\s*([NS])\s*,?\s*({NUMBER})\s*m\s*")


@dataclass(frozen=True, slots=True)
class WithU:
    """A value and its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surrounded:
    """The room, and how the scale that is calibrated changes with temperature; None: not told."""

    celsius: float | None = None
    humidity_percent: float | None = None
    pressure_hpa: float | None = None
    per_kelvin: WithU | None = None


def with_u(text: str) -> WithU:
    """Return a value with its standard uncertainty.

    >>> with_u("9.8123±0.0002")
    WithU(value=9.8123, u=0.0002)
    """
    found = WITH_U.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} should be a value and its standard uncertainty, as in 13.0±0.5 (or 13.0+-0.5)")
    value, u = float(found[1]), float(found[2])
    if u < 0.0:
        raise ValueError(f"the uncertainty in {text!r} is negative")
    return WithU(value, u)


def gravity(text: str) -> Gravity:
    """Return local gravity, measured ("9.8123±0.0002", m/s2) or of a place ("52.1N 40m", latitude and height)."""
    from processing.calibration.errors import OutsideRange
    from processing.calibration.gravity import Gravity, gravity_of_place

    place = PLACE.fullmatch(text)
    if place is not None:
        try:
            return gravity_of_place(float(place[1]) * (1.0 if place[2] == "N" else -1.0), float(place[3]))
        except OutsideRange as fault:
            raise ValueError(str(fault)) from fault
    try:
        measured = with_u(text)
    except ValueError:
        raise ValueError(
            f"{text!r}: give local gravity in m/s2 with its standard uncertainty, as in 9.8123±0.0002, "
            "or latitude and height, as in '52.1N 40m'"
        ) from None
    if not 9.76 <= measured.value <= 9.84:
        raise ValueError(f"gravity is between 9.76 and 9.84 m/s2 on land, not {measured.value:g}")
    return Gravity(measured.value, measured.u, "measured")


def environment(text: str) -> Surrounded:
    """Return the room, each value known by its unit: "21.5C, 40%, 1013hPa, 1e-4/K±2e-5"; any may be left out."""
    found: dict[str, float | WithU] = {}
    for part in filter(None, (piece.strip() for piece in text.split(","))):
        for name, unit in UNITS.items():
            match = re.fullmatch(rf"({NUMBER})\s*{unit}(.*)", part)
            if match is None:
                continue
            if name == "per_kelvin":
                found[name] = with_u(match[1] + match[2])
            elif not match[2]:
                found[name] = _within(name, float(match[1]))
            else:
                continue
            break
        else:
            raise ValueError(f"{part!r}: give values with their units, as in '21.5C, 40%, 1013hPa, 1e-4/K±2e-5'")
    if "per_kelvin" in found and "celsius" not in found:
        raise ValueError("a temperature coefficient needs the temperature at which the scale is found: add it, as 21C")
    return Surrounded(**found)  # type: ignore[arg-type]


UNITS = {"celsius": "C", "humidity_percent": "%", "pressure_hpa": "hPa", "per_kelvin": "/K"}
BOUNDS = {"celsius": (-30.0, 60.0), "humidity_percent": (0.0, 100.0), "pressure_hpa": (500.0, 1100.0)}


def _within(name: str, value: float) -> float:
    low, high = BOUNDS[name]
    if not low <= value <= high:
        raise ValueError(f"{name} is between {low:g} and {high:g} in a room, not {value:g}")
    return value
