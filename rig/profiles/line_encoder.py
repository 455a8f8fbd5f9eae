"""Samples -> lines: the other direction of `lines.py`, for the virtual rig and the tests.

How it works: one printf template made from the profile. Values are printed with just so many decimals that reading them
back gives the same whole 1 uN, 1 nm or 1 us.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log10

import numpy as np
from numpy.typing import NDArray

from rig.profiles.lines import SEPARATORS
from rig.profiles.profile import Profile

UNREAD = "0"
"""What is printed in a column that means nothing."""


@dataclass(frozen=True, slots=True)
class Switches:
    """How foot switch and contact stand at each sample, arrays (N,): 1 pressed or closed."""

    foot_switch: NDArray[np.uint8]
    contact: NDArray[np.uint8]

    @classmethod
    def open(cls, count: int) -> Switches:
        """Return switches that nobody touches."""
        return cls(np.zeros(count, np.uint8), np.zeros(count, np.uint8))


class LineEncoder:
    """Prints samples as a rig with this profile does. `line_end`: CR, LF or both."""

    def __init__(self, profile: Profile, *, line_end: bytes = b"\r\n") -> None:
        self._profile, self._line_end = profile, line_end
        self._left_to_right = sorted(profile.mapped(), key=lambda name: profile.mapped()[name])
        self._template = self._make_template()

    def encode(
        self,
        sample_number: NDArray[np.int64],
        tick_us: NDArray[np.int64],
        force_counts: NDArray[np.int32],
        displacement_counts: NDArray[np.int32],
        switches: Switches | None = None,
    ) -> bytes:
        """Return the lines of some samples; all arrays (N,). Counts are those that `LineDecoder` gives."""
        profile, count = self._profile, len(sample_number)
        switches = switches or Switches.open(count)
        columns: dict[str, NDArray[np.generic]] = {
            "force": force_counts / profile.force.kept_per_printed,
            "displacement": displacement_counts / profile.displacement.kept_per_printed,
        }
        if (time := profile.time) is not None:
            wrap_us = time.wraps_at and time.wraps_at * time.us_per_unit
            columns["time"] = (tick_us % wrap_us if wrap_us else tick_us) / time.us_per_unit
        if profile.counter is not None:
            columns["counter"] = sample_number % profile.counter.modulus
        if profile.foot_switch is not None:
            columns["foot_switch"] = switches.foot_switch ^ np.uint8(1 - profile.foot_switch.active)
        if profile.contact is not None:
            columns["contact"] = switches.contact ^ np.uint8(1 - profile.contact.active)
        rows = zip(*(columns[name].tolist() for name in self._left_to_right), strict=True)
        text = "".join([self._template % row for row in rows])
        return (text if profile.decimal == "." else text.replace(".", ",")).encode("ascii")

    def _make_template(self) -> str:
        profile = self._profile
        cells = [UNREAD] * profile.columns
        for name, column in profile.mapped().items():
            cells[column - 1] = "%d"
            if name in ("force", "displacement"):
                sensor = profile.force if name == "force" else profile.displacement
                cells[column - 1] = f"%.{_decimals(sensor.kept_per_printed)}f"
            elif name == "time" and profile.time is not None:
                cells[column - 1] = f"%.{_decimals(profile.time.us_per_unit)}f"
        return SEPARATORS[profile.separator].decode().join(cells) + self._line_end.decode()


def _decimals(steps_per_unit: float) -> int:
    """Return how many decimals tell every step from the next: half a unit of the last one is less than half a step.

    >>> [_decimals(steps) for steps in (1.0, 1000.0, 9806.65)]
    [0, 3, 4]
    """
    return ceil(log10(steps_per_unit))
