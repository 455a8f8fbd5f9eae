"""A virtual person who does what the rig's lamps say: carries the rig to the key, presses until enough is good, treads.

How it works: the rig tells each Cue. One press is made for each cue that asks for one more good stroke; when there are
enough the foot goes on the switch, and the next cue names another key. Now and then a press goes wrong, seeded, so
that the host has something to find; the person then simply presses again.
"""

from __future__ import annotations

import numpy as np

from rig.protocol.messages import Cue
from rig.virtual.person import PRESS_KINDS, VirtualPerson

BAD_KINDS = tuple(kind for kind in PRESS_KINDS if kind != "good")


class CueFollower(VirtualPerson):
    """Follows cues; everything else as VirtualPerson."""

    def __init__(self, *, station: int, seed: int, bad_share: float = 0.1) -> None:
        """bad_share: of presses that go wrong."""
        super().__init__(station=station, seed=seed)
        self._choice = np.random.default_rng(seed + 2)
        self._bad_share = bad_share
        self._cue: Cue | None = None
        self.pressed: list[str] = []
        """What has been done, kind by kind: the truth for those who judge."""

    def see(self, cue: Cue) -> None:
        """Look at the lamps."""
        self._cue = cue

    def act(self, tick_us: int) -> tuple[int, ...]:
        """Begin what the last cue asks for, once, when hand and foot are free; return the foot switch's bytes."""
        if self.idle and self._cue is not None:
            cue, self._cue = self._cue, None
            if cue.station != self.station:
                self.move_to(cue.station)
            if cue.good < cue.wanted:
                self._press_somehow()
            else:
                self.tread()
        return super().act(tick_us)

    def _press_somehow(self) -> None:
        kind = BAD_KINDS[self._choice.integers(len(BAD_KINDS))] if self._choice.random() < self._bad_share else "good"
        self.pressed.append(kind)
        self.press(kind)
        self.rest(0.5)
