"""A calibration record: what turns one rig's counts into newtons and millimetres, and how sure that is.

How it works: a record is a small JSON file of its own, `calibration_file.py` reads and writes it. It is never changed;
a later record names the one it `supersedes` and both files stay. Its id is the SHA-256 of its content (`content_id`),
so a record that was changed by hand is known. Every part is optional: what was not calibrated is not there.

    {"schema": "keyplumb.calibration/1", "id": "64 hex digits",
     "rig": {"model": "bench", "serial_number": "7"},
     "made_at": "2026-03-01T12:00:00+00:00", "valid_until": "2027-03-01T12:00:00+00:00",
     "software_version": "0.3.0", "operator": "...", "note": "...", "supersedes": "id of the record before",
     "room": {"celsius": 21.0, "humidity_percent": 40.0, "pressure_hpa": 1013.0},
     "force": {"polynomial": POLYNOMIAL in N, "masses": [{"name", "nominal_gram", "oiml_class", "certificate"}],
               "interpolation_error_newton", "repeatability_newton", "reversibility_newton", "zero_return_newton",
               "creep_newton", "lower_limit_newton", "resolution_newton"},
     "displacement": {"polynomial": POLYNOMIAL in mm, "reference", "backlash_mm", "u_backlash_mm", "step_mm",
                      "cosine_error", "u_cosine_error"},
     "compliance": {"points": [{"newton": 0.0, "mm": 0.0, "u_mm": 0.0}, ...]},
     "skew": {"us", "u_us"},
     "contact_point": {"behind_front_mm", "u_behind_front_mm", "lever_mm", "u_lever_mm"},
     "environment": {"celsius", "force_per_kelvin", "u_force_per_kelvin", "displacement_per_kelvin", ...}}

POLYNOMIAL is {"reference_counts", "coefficients": [c0, c1, c2], "covariance": [[...], ...], "dof", "range_counts"}:
physical value = c0 + c1 (n - r) + c2 (n - r)^2 for counts n and the reference r, the covariance that of c0, c1, c2.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from math import isfinite, sqrt

SCHEMA = "keyplumb.calibration/1"
ROUNDING = 1e-9
"""Relative: how far a covariance matrix may be from symmetric and positive by the rounding of its digits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPolynomial:
    """Physical value over counts: a line or a parabola about a reference count, with its covariance."""

    reference_counts: float
    coefficients: tuple[float, ...]
    """c0, c1 and perhaps c2; unit of the value per count to the power of 0, 1, 2."""
    covariance: tuple[tuple[float, ...], ...]
    """Of the coefficients, in their units; as many rows and columns as there are coefficients."""
    dof: float | None = None
    """Degrees of freedom of the fit; None: the covariance is taken for known."""
    range_counts: tuple[float, float]
    """Lowest and highest count that was calibrated."""

    def __post_init__(self) -> None:
        _demand(len(self.coefficients) in (2, 3), f"{len(self.coefficients)} coefficients; a line has 2, a parabola 3")
        _demand(_is_covariance(self.covariance, len(self.coefficients)), "the covariance is no covariance matrix")
        _demand(self.dof is None or self.dof > 0, f"{self.dof} degrees of freedom")
        low, high = self.range_counts
        _demand(low < high, f"the range of counts {low:g} to {high:g} is empty")
        slopes = self.slope_at(low), self.slope_at(high)
        _demand(slopes[0] * slopes[1] > 0, "the polynomial turns back within its range")

    def at(self, counts: float) -> float:
        """Return the physical value at a count."""
        return sum(c * (counts - self.reference_counts) ** power for power, c in enumerate(self.coefficients))

    def slope_at(self, counts: float) -> float:
        """Return the physical value of one count more."""
        way = counts - self.reference_counts
        return sum(p * c * way ** (p - 1) for p, c in enumerate(self.coefficients) if p)

    def range(self) -> tuple[float, float]:
        """Return the lowest and the highest physical value that was calibrated."""
        low, high = sorted(map(self.at, self.range_counts))
        return low, high


@dataclass(frozen=True, slots=True, kw_only=True)
class Mass:
    """A reference mass that was laid on."""

    name: str
    nominal_gram: float
    oiml_class: str | None = None
    certificate: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceCalibration:
    """Counts to newtons, and how the cell behaved; a number that was not found is None."""

    polynomial: CountPolynomial
    masses: tuple[Mass, ...] = ()
    interpolation_error_newton: float | None = None
    repeatability_newton: float | None = None
    reversibility_newton: float | None = None
    zero_return_newton: float | None = None
    creep_newton: float | None = None
    lower_limit_newton: float | None = None
    """Under this force the relative uncertainty is not stated (lower limit factor times the standard deviation)."""
    resolution_newton: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplacementCalibration:
    """Counts to millimetres of the plunger, downward positive."""

    polynomial: CountPolynomial
    reference: str = ""
    """Which gauge blocks or steps, with their certificates."""
    backlash_mm: float | None = None
    """Place that a count stands for going down less that going up; the polynomial lies in the middle."""
    u_backlash_mm: float | None = None
    step_mm: float | None = None
    """The smallest step that the gauge shows."""
    cosine_error: float | None = None
    """Share by which a tilted gauge reads too long."""
    u_cosine_error: float | None = None

    def __post_init__(self) -> None:
        _demand_uncertainties(self.u_backlash_mm, self.u_cosine_error)


@dataclass(frozen=True, slots=True, kw_only=True)
class CompliancePoint:
    """How far the rig itself gives at a force."""

    newton: float
    mm: float
    u_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Compliance:
    """The give of the rig over force: straight between its points, and on beyond the last ones as between them."""

    points: tuple[CompliancePoint, ...]

    def __post_init__(self) -> None:
        _demand(len(self.points) > 1, "a compliance needs two points at least")
        _demand((self.points[0].newton, self.points[0].mm) == (0.0, 0.0), "the first point must be 0 mm at 0 N")
        for one, other in pairwise(self.points):
            _demand(other.newton > one.newton, f"forces must rise, but after {one.newton:g} N comes {other.newton:g} N")
            _demand(other.mm >= one.mm, f"the rig cannot give less under more force (at {other.newton:g} N)")
        _demand_uncertainties(*(point.u_mm for point in self.points))

    @staticmethod
    def linear(mm_per_newton: float, u_mm_per_newton: float, *, up_to_newton: float) -> Compliance:
        """Return the give of a rig that is a plain spring."""
        end = CompliancePoint(newton=up_to_newton, mm=mm_per_newton * up_to_newton, u_mm=u_mm_per_newton * up_to_newton)
        return Compliance(points=(CompliancePoint(newton=0.0, mm=0.0, u_mm=0.0), end))


@dataclass(frozen=True, slots=True, kw_only=True)
class Skew:
    """The force shown was true so long before its tick, against the displacement."""

    us: float
    u_us: float

    def __post_init__(self) -> None:
        _demand_uncertainties(self.u_us)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactPoint:
    """Where the plunger presses; with the lever it tells what force and travel are at the front edge."""

    behind_front_mm: float
    u_behind_front_mm: float
    lever_mm: float | None = None
    """From the front edge to the point about which the key turns."""
    u_lever_mm: float | None = None

    def __post_init__(self) -> None:
        _demand_uncertainties(self.u_behind_front_mm, self.u_lever_mm)
        if self.lever_mm is not None:
            _demand(self.lever_mm > self.behind_front_mm, "the lever ends before the point of contact")


@dataclass(frozen=True, slots=True, kw_only=True)
class Environment:
    """How the scales change with temperature, and at which temperature they were found.

    value = polynomial times (1 + per_kelvin (T - celsius)): the relative change of what one count is worth.
    """

    celsius: float
    force_per_kelvin: float | None = None
    u_force_per_kelvin: float | None = None
    displacement_per_kelvin: float | None = None
    u_displacement_per_kelvin: float | None = None

    def __post_init__(self) -> None:
        _demand_uncertainties(self.u_force_per_kelvin, self.u_displacement_per_kelvin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """The room while the record was made; None: not measured."""

    celsius: float | None = None
    humidity_percent: float | None = None
    pressure_hpa: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RigIdentity:
    """The one rig that a record is good for."""

    model: str
    serial_number: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationRecord:
    """One calibration of one rig. Raises ValueError if its parts cannot be true."""

    rig: RigIdentity
    made_at: datetime
    """With its time zone."""
    valid_until: datetime
    """The last moment at which a recording may begin that rests on it."""
    software_version: str
    operator: str | None = None
    note: str | None = None
    room: Room | None = None
    supersedes: str | None = None
    """Id of the record that this one replaces."""
    force: ForceCalibration | None = None
    displacement: DisplacementCalibration | None = None
    compliance: Compliance | None = None
    skew: Skew | None = None
    contact_point: ContactPoint | None = None
    environment: Environment | None = None

    def __post_init__(self) -> None:
        _demand(self.made_at.tzinfo is not None, "made_at needs a time zone")
        _demand(self.valid_until.tzinfo is not None, "valid_until needs a time zone")
        _demand(self.made_at < self.valid_until, "valid_until is not after made_at")

    def is_of(self, model: str | None, serial_number: str | None) -> bool:
        """Tell whether this is a record of the rig of that model and number; None: it does not say, so it is not."""
        return (self.rig.model, self.rig.serial_number) == (model, serial_number)

    @property
    def missing_parts(self) -> tuple[str, ...]:
        """The parts of a whole calibration that are not in this record."""
        return tuple(part for part in PARTS if getattr(self, part) is None)


PARTS = ("force", "displacement", "compliance", "skew")
"""A whole calibration; contact point and environment are extras."""


def _demand(holds: bool, otherwise: str) -> None:
    if not holds:
        raise ValueError(otherwise)


def _demand_uncertainties(*stated: float | None) -> None:
    _demand(all(u is None or u >= 0 for u in stated), "an uncertainty is never negative")


def _is_covariance(matrix: tuple[tuple[float, ...], ...], size: int) -> bool:
    """Tell whether a matrix is square, symmetric, and holds variances and correlations that can be."""
    if len(matrix) != size or any(len(row) != size for row in matrix):
        return False
    if not all(isfinite(value) for row in matrix for value in row) or any(matrix[i][i] < 0 for i in range(size)):
        return False
    for i in range(size):
        for j in range(i):
            most = sqrt(matrix[i][i]) * sqrt(matrix[j][j]) * (1 + ROUNDING)
            if abs(matrix[i][j]) > most or abs(matrix[i][j] - matrix[j][i]) > ROUNDING * most:
                return False
    return True
