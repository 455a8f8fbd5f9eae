"""A unit judged while it is being surveyed, through a real port, from the command line."""

from __future__ import annotations

import subprocess
from pathlib import Path

from recordings.reader import read_recording
from tests.end_to_end.test_demo import KEYPLUMB, a_virtual_rig

LIMITS = """
name = "fern"
[expected]
keys = "C4..E4"
allowed_flags = ["uncalibrated"]
[[limit]]
measurand = "down_weight"
unit = "gf"
upper = 40.0
"""
"""No key of fern keeps it: they take some 49 gf."""


def test_a_certain_fail_is_said_at_once_and_ends_the_survey(tmp_path: Path) -> None:
    limits, unit = tmp_path / "limits.toml", tmp_path / "u.h5"
    limits.write_text(LIMITS, encoding="utf-8")
    words = ["--limits", str(limits), "--out", str(unit), "--serial", "fern-007", "--operator", "Ada"]
    with a_virtual_rig() as port:
        live = subprocess.run(
            [*KEYPLUMB, "inspect", "--port", port, *words, "--instrument", "fern", "--stop-on-fail"],
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
    later = subprocess.run(
        [*KEYPLUMB, "inspect", str(unit), "--limits", str(limits)], capture_output=True, text=True, check=False
    )
    kept = read_recording(unit)

    assert (live.returncode, later.returncode) == (1, 1), live.stderr
    assert live.stdout == later.stdout
    assert live.stdout.startswith("fern-007: FAIL: C4: Down weight 4")
    said = " ".join(live.stderr.split())  # a narrow screen breaks lines anywhere
    assert "keyplumb: C4: fail: Down weight 4" in said
    assert "stopped early, 1 of 5 keys done: C4 fails for certain" in said
    assert [key.key.name for key in kept.keys] == ["C4"]
    assert not kept.complete
    assert (kept.header.run.serial, kept.header.run.operator) == ("fern-007", "Ada")
