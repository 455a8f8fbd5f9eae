"""What comes out of a rig's lines: samples, edges, damage, and what is missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class LineSamples:
    """Samples, oldest first; all arrays (N,)."""

    sample_number: NDArray[np.int64]
    tick_us: NDArray[np.int64]
    """The rig's clock, unwrapped; where it prints none, reckoned from the sample number and the rate."""
    force_counts: NDArray[np.int32]
    """Counts as printed, or whole 1 uN; see `Profile.force.kept_per_newton_or_mm`."""
    displacement_counts: NDArray[np.int32]
    """Counts as printed, or whole 1 nm."""


@dataclass(frozen=True, slots=True, eq=False)
class LineEdges:
    """Edges of foot switch and contact, oldest first, arrays (M,): the byte is 1 when pressed or closed, 0 when not.

    An edge carries the tick of the first line that shows it. How the switches stood at the first line is no edge.
    """

    tick_us: NDArray[np.int64]
    source: NDArray[np.uint8]
    """Source.FOOT_SWITCH or Source.CONTACT."""
    byte: NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class DamagedLine:
    """A line that is none, or that does not fit between its neighbours, and why."""

    length: int
    reason: str


@dataclass(frozen=True, slots=True)
class LostLines:
    """So many samples are missing just before this tick. A damaged line is a lost one too."""

    tick_us: int
    count: int
    reason: str


@dataclass(frozen=True, slots=True)
class RigAnew:
    """The rig was started anew: its counter or time began again. How many samples are missing cannot be told."""

    tick_us: int
    reason: str


LineItem = LineSamples | LineEdges | DamagedLine | LostLines | RigAnew
"""Everything that `LineDecoder` gives."""
