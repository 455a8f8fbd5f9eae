"""The plain script of the benchmark measures the same: it would be no peer if it did not."""

from __future__ import annotations

from pathlib import Path

import pytest

import keyplumb
from benchmarks.plain_script import measure_survey
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording

WITHIN = {"mm": 0.01, "N": 0.002, "N/mm": 0.02, "mJ": 0.015, "1": 0.003}
"""Two kinds of smoothing: places by the grid's step, forces by a few standard errors of one stroke; works by the last
step, which the script cuts at a point of the grid."""
BY_SMOOTHING = {"lift_weight": 0.01, "letoff_peak_position": 0.02, "aftertouch": 0.02}
"""The smallest of a smoothed way up lies where a bed of 6 N/mm bends off: each smoothing dips there in its own way. The
top of a lopsided peak is moved by smoothing, which the script does not take back."""


def test_the_plain_script_finds_the_same_numbers_on_clean_keys(tmp_path: Path) -> None:
    path = tmp_path / "r.h5"
    shapes = (SyntheticKey(), SyntheticKey(down=0.6, up=0.35, peak_mm=7.6, peak_rise=0.1), SyntheticKey(peak_rise=0.0))
    keys = (
        a_recording(shape, Press(rate_hz=5000.0, zero=0.05 * n), name=Key(40 + n)) for n, shape in enumerate(shapes)
    )
    write_recording(path, a_header(), keys)
    script, ours = measure_survey(path), keyplumb.measure(path)
    for key in ours.result.keys:
        row = script.loc[key.key.number].dropna()
        assert len(row) == (22 if key.letoff == "found" else 11)
        for name, value in row.items():
            measurement = key[str(name)]
            within = BY_SMOOTHING.get(measurement.name, WITHIN[measurement.unit])
            assert value == pytest.approx(measurement.value, abs=within), name
