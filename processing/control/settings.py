"""Every choice of the control charts with unit, default and reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlSettings:
    """How a line of units is watched."""

    baseline: int = 30
    """Units that freeze the limits; with fewer the limits must stand so wide that little is found."""
    fewest: int = 15
    """Units in a baseline at least; under this the width of the limits grows without bound."""
    false_alarms: float = 0.05
    """Chance that any chart of the family signals within the horizon although nothing has changed."""
    horizon: int = 250
    """Units after the baseline for which that chance is stated: a fixed number, so that limits stay frozen."""
    weight: float = 0.1
    """Of the newest unit in the moving average: slow drifts and small lasting steps show soonest."""
    allowance: float = 0.5
    """Of the sums, in sigma: half of a step of one sigma, the usual choice."""
    replicates: int = 200_000
    """Lines drawn to find the widths: with the usual family some 200 of them decide, so the rate is good to 7 %."""
    seed: int = 1
    """Of the drawing: the same limits at every run."""
    sample: int = 5
    """Units in a row that make a sample of the charts of means and standard deviations: the usual choice."""
    most_events: int = 4
    """In one series: more would explain noise."""
    coverage: float = 0.95
    """Of every interval."""
    unsteady_alpha: float = 0.01
    """A baseline that looks so rarely as it does by chance is told to be unsteady."""
