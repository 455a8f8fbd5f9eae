"""What the model knows of itself, where measurands.md leaves no doubt."""

from __future__ import annotations

from dataclasses import replace

from rig.virtual.scenario import KeySpec, keyboard_of, load_scenario
from rig.virtual.truths import true_features


def a_key(*, letoff_newton: float, spring_newton_per_mm: float) -> KeySpec:
    key = keyboard_of(load_scenario("fern"))[39]
    letoff = replace(key.action.letoff, height_newton=letoff_newton)
    return replace(key, action=replace(key.action, letoff=letoff, spring_newton_per_mm=spring_newton_per_mm))


def test_a_hump_on_a_force_that_rises_faster_has_no_top_and_is_no_letoff() -> None:
    """Measurands.md asks for a local maximum followed by a fall; the rest of the key is told as ever."""
    truths = true_features(a_key(letoff_newton=0.004, spring_newton_per_mm=0.05))

    assert truths.get("letoff_peak_position") is None
    assert truths["key_dip"] is not None


def test_the_same_hump_on_a_level_force_is_one() -> None:
    assert true_features(a_key(letoff_newton=0.1, spring_newton_per_mm=0.0))["letoff_peak_position"] is not None
