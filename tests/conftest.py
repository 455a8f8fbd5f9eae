"""Hypothesis for this project: the same examples each time, and no shrinking that takes minutes."""

from __future__ import annotations

from hypothesis import Phase, settings

settings.register_profile(
    "house", derandomize=True, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate)
)
settings.load_profile("house")
