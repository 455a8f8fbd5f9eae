"""The largest force since listening began, for steps that must know whether the rig's limit has turned them back."""

from __future__ import annotations

import math

from recordings.types import Damage, LinearScale, RawEvents, RawTrace


class PeakForce:
    """Listens to what the recorder hears."""

    def __init__(self, scale: LinearScale) -> None:
        self._scale = scale
        self.newton = -math.inf
        """As the cell shows it, its zero included."""

    def listen(self, news: RawTrace | RawEvents | Damage) -> None:
        """Take what the recorder hears."""
        if isinstance(news, RawTrace) and len(news):
            self.newton = max(self.newton, self._scale.physical(int(news.force_counts.max())))
