"""Local gravity: measured, or normal gravity of the place.

How it works: Somigliana's closed formula on the ellipsoid, then the free-air term to second order in height.
Source: Geodetic Reference System 1980 (Moritz, J. Geodesy 74:128, 2000); height: Heiskanen & Moritz 1967, eq. 2-123.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, radians, sin, sqrt

from processing.calibration.errors import OutsideRange
from processing.calibration.settings import GravitySettings

EQUATOR_M_PER_S2 = 9.7803267715
SOMIGLIANA_K = 0.001931851353
ECCENTRICITY_SQUARED = 0.00669438002290
SEMI_MAJOR_M = 6378137.0
FLATTENING = 1.0 / 298.257222101
CENTRIFUGAL_RATIO = 0.00344978600308
"""m = omega^2 a^2 b / GM of the GRS80."""


@dataclass(frozen=True, slots=True)
class Gravity:
    """Local gravity with its standard uncertainty; source: where it comes from, in words."""

    m_per_s2: float
    u_m_per_s2: float
    source: str


def normal_gravity_m_per_s2(latitude_deg: float, height_m: float) -> float:
    """Return GRS80 normal gravity at a geodetic latitude and a height above the ellipsoid.

    >>> round(normal_gravity_m_per_s2(45.0, 0.0), 9)
    9.806199203
    """
    s2 = sin(radians(latitude_deg)) ** 2
    ground = EQUATOR_M_PER_S2 * (1.0 + SOMIGLIANA_K * s2) / sqrt(1.0 - ECCENTRICITY_SQUARED * s2)
    h = height_m / SEMI_MAJOR_M
    return ground * (1.0 - 2.0 * (1.0 + FLATTENING + CENTRIFUGAL_RATIO - 2.0 * FLATTENING * s2) * h + 3.0 * h**2)


def gravity_of_place(latitude_deg: float, height_m: float, settings: GravitySettings | None = None) -> Gravity:
    """Return normal gravity as the estimate of local gravity.

    Its uncertainty: the place's (by central differences) and that of true against normal gravity.
    Raises OutsideRange for a latitude beyond the poles or a height that no workshop has.
    """
    settings = settings or GravitySettings()
    if not (-90.0 <= latitude_deg <= 90.0 and -500.0 <= height_m <= 9000.0):
        raise OutsideRange(
            f"latitude {latitude_deg:g} deg, height {height_m:g} m is no place on land;"
            " give -90..90 degrees and -500..9000 m"
        )
    value = normal_gravity_m_per_s2(latitude_deg, height_m)
    north, south = latitude_deg + settings.latitude_u_deg, latitude_deg - settings.latitude_u_deg
    u_latitude = (normal_gravity_m_per_s2(north, height_m) - normal_gravity_m_per_s2(south, height_m)) / 2.0
    above, below = height_m + settings.height_u_m, height_m - settings.height_u_m
    u_height = (normal_gravity_m_per_s2(latitude_deg, above) - normal_gravity_m_per_s2(latitude_deg, below)) / 2.0
    u = hypot(u_latitude, u_height, settings.anomaly_share * value)
    return Gravity(value, u, f"GRS80 normal gravity at {latitude_deg:g} degrees, {height_m:g} m")
