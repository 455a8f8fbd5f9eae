"""The virtual rig that only prints lines, told the time: its lines say what its bench did."""

from __future__ import annotations

import numpy as np
import pytest

from rig.errors import MalformedProfile
from rig.profiles.line_items import LineEdges, LineItem, LineSamples
from rig.profiles.lines import LineDecoder
from rig.profiles.profile import Profile, built_in_profiles, load_profile
from rig.protocol.messages import Source
from rig.virtual.bench import BenchSpec
from rig.virtual.line_rig import LineRig
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.workbench_file import load_workbench

KEYS = keyboard_of(load_scenario("fern"))[39:40]


def pressed(profile: Profile) -> list[LineItem]:
    """Let a rig press its key down to the bed and come up again, and read its lines."""
    rig, decoder = LineRig(KEYS, profile), LineDecoder(profile)
    decoder.feed(b"\n")
    items: list[LineItem] = []
    for second, target_mm in enumerate([12.0, 12.0, 0.0, 0.0]):
        rig.foot_switch_pressed = second in (1, 2)
        rig.bench.stage.go(target_mm, 12.0, 500.0)
        for step in range(1, 21):
            items += decoder.feed(rig.receive(b"whatever", 1_000_000 * second + 50_000 * step))
    return items + decoder.close()


@pytest.mark.parametrize("name", built_in_profiles())
def test_every_built_in_profile_shows_a_press_in_newtons_and_millimetres(name: str) -> None:
    profile = load_profile(name)
    samples = [item for item in pressed(profile) if isinstance(item, LineSamples)]
    force = np.concatenate([item.force_counts for item in samples]).astype(np.float64)
    way = np.concatenate([item.displacement_counts for item in samples]).astype(np.float64)
    newton = (force - profile.force.zero_counts) / profile.force.kept_per_newton_or_mm
    mm = (way - profile.displacement.zero_counts) / profile.displacement.kept_per_newton_or_mm

    assert len(newton) == 4 * (profile.rate_hz or 0)
    assert mm.max() == pytest.approx(12.0, abs=0.02)  # the screw's ripple and the gauge's noise
    assert abs(newton[mm < 1.0].mean()) < 0.06  # in the air: the cell's zero of 0.05 N
    assert 0.3 < np.median(newton[(mm > 5.0) & (mm < 8.0)]) < 0.8  # common practice: 40..65 gf down, less up


def test_masses_on_the_pan_of_a_line_rig_show_in_its_lines() -> None:
    """True force = v (1 - 0.0123) + 0.0004 v^2 for v newtons printed; m500 pushes with 4.906 N."""
    profile, truth = load_profile("lines_csv"), load_workbench("tern_lane")
    rig, decoder, force = LineRig(KEYS, profile, workbench=truth), LineDecoder(profile), []
    decoder.feed(b"\n")
    assert rig.workbench is not None
    for second, line in enumerate(("pan", "pan m500")):
        assert rig.workbench.obey(line).startswith("ok ")
        items = decoder.feed(rig.receive(b"", 1_000_000 * (second + 1)))
        counts = np.concatenate([item.force_counts for item in items if isinstance(item, LineSamples)])
        force.append(counts[20:].mean() / profile.force.kept_per_newton_or_mm)

    shown = force[1] - force[0]
    assert shown * (1.0 - 0.0123) + 0.0004 * shown**2 == pytest.approx(truth.pan_newton(["m500"]), abs=0.0015)


def test_contact_and_foot_switch_leave_edges() -> None:
    edges = [item for item in pressed(load_profile("lines_counter")) if isinstance(item, LineEdges)]
    said = [(int(source), int(byte)) for item in edges for source, byte in zip(item.source, item.byte, strict=True)]

    foot = [byte for source, byte in said if source == Source.FOOT_SWITCH]
    contact = [byte for source, byte in said if source == Source.CONTACT]
    assert (foot, contact) == ([1, 0], [1, 0])


def test_a_rate_that_the_bench_cannot_keep_is_refused() -> None:
    profile = load_profile("lines_spaces").model_copy(update={"rate_hz": 80.5})

    with pytest.raises(MalformedProfile, match=r"rate_hz: 80\.5 cannot be played"):
        LineRig(KEYS, profile)
    with pytest.raises(MalformedProfile, match="makes 1000 samples"):
        LineRig(KEYS, load_profile("lines_spaces"), BenchSpec())
