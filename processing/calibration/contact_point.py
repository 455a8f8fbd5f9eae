"""From the place where the plunger meets a key to the key's front edge.

How it works: a key turns about the balance rail. Forces at two places on it are as the inverse of their distances from
the rail, travels are as the distances.
Source: the lever; a point x behind the front edge, balance rail at L: force times L / (L - x) and travel times
(L - x) / L is what the plunger meets of what the edge has.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from processing.calibration.errors import OutsideRange


@dataclass(frozen=True, slots=True)
class ContactPoint:
    """Where the plunger stands, and how well that is known (standard uncertainties)."""

    behind_edge_mm: float
    """From the front edge backward; 13 mm is common practice."""
    lever_mm: float
    """From the front edge to the balance rail."""
    behind_edge_u_mm: float = 0.5
    """A ruler, and the plunger's own width."""
    lever_u_mm: float = 1.0
    """A ruler, and a rail with width."""

    def __post_init__(self) -> None:
        if not 0.0 <= self.behind_edge_mm < self.lever_mm:
            raise OutsideRange(
                f"the plunger stands {self.behind_edge_mm:g} mm behind the edge and the balance rail"
                f" {self.lever_mm:g} mm: give a place between the edge and the rail"
            )


@dataclass(frozen=True, slots=True)
class LeverFactor:
    """What to multiply with, and its standard uncertainty."""

    factor: float
    u: float


def force_at_contact_per_edge(point: ContactPoint) -> LeverFactor:
    """Return L / (L - x): force at the plunger over force at the edge; a force at the edge is the measured one over it.

    >>> round(force_at_contact_per_edge(ContactPoint(13.0, 218.0)).factor, 4)
    1.0634
    """
    arm = point.lever_mm - point.behind_edge_mm
    by_place = point.lever_mm / arm**2 * point.behind_edge_u_mm
    by_lever = point.behind_edge_mm / arm**2 * point.lever_u_mm
    return LeverFactor(point.lever_mm / arm, hypot(by_place, by_lever))


def travel_at_contact_per_edge(point: ContactPoint) -> LeverFactor:
    """Return (L - x) / L: travel at the plunger over travel at the edge; the edge's is the measured one over it.

    >>> round(travel_at_contact_per_edge(ContactPoint(13.0, 218.0)).factor, 4)
    0.9404
    """
    by_place = point.behind_edge_u_mm / point.lever_mm
    by_lever = point.behind_edge_mm / point.lever_mm**2 * point.lever_u_mm
    return LeverFactor(1.0 - point.behind_edge_mm / point.lever_mm, hypot(by_place, by_lever))
