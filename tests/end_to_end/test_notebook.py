"""The notebook in docs/ runs from top to bottom with two recordings of the demo's keyboards, and holds no outputs.

Its code cells are run as they stand, one after the other in one namespace; a notebook's kernel does no more. The
recordings are two octaves of each keyboard, pressed on the virtual bench without a port.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib import pyplot

from benchmarks.pressing import press_by_motor
from benchmarks.virtual_keys import stated_calibration
from recordings.keys import Key
from recordings.types import KeyRecording
from recordings.writer import write_recording
from rig.virtual.bench import BenchSpec
from rig.virtual.scenario import keyboard_of, load_scenario
from tests.builders import a_header

NOTEBOOK = Path(__file__).parents[2] / "docs" / "two_prototypes.ipynb"
NUMBERS = range(40, 64)
"""C4 to B5: with A5, which has no let-off on fern, and enough naturals for a band over the travel."""


def cells(kind: str) -> list[dict[str, Any]]:
    book: dict[str, Any] = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    return [cell for cell in book["cells"] if cell["cell_type"] == kind]


def a_demo_recording(path: Path) -> None:
    """Some keys of the scenario that the file is named after, as the demo's rig would record them."""
    spec, random = BenchSpec(), np.random.default_rng(1)
    header = replace(a_header(path.stem), calibration=stated_calibration(spec))
    keys = []
    for key in keyboard_of(load_scenario(path.stem)):
        if key.number in NUMBERS:
            trace, events = press_by_motor(key, spec, random)
            keys.append(KeyRecording(Key(key.number), trace, events))
    write_recording(path, header, keys)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the notebook has in its names and on its pictures after the last cell, and all that it printed."""
    folder = tmp_path_factory.mktemp("notebook")
    for name in ("demo", "docs"):
        (folder / name).mkdir()
    for name in ("fern", "moss"):
        a_demo_recording(folder / "demo" / f"{name}.h5")
    names: dict[str, Any] = {"pictures": [], "printed": ""}
    names["print"] = lambda *words: names.update(printed=names["printed"] + " ".join(map(str, words)) + "\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder / "docs")
        for cell in cells("code"):
            exec(compile("".join(cell["source"]), f"{NOTEBOOK.name}, {cell['id']}", "exec"), names)
            names["pictures"] += [pyplot.figure(number).axes[0] for number in pyplot.get_fignums()]
            pyplot.close("all")
    return names


def test_it_runs_from_top_to_bottom_and_tells_what_was_planted(told: dict[str, Any]) -> None:
    assert "fern: 24 keys" in told["printed"]
    assert "let-off of A5: None, because" in told["printed"]
    assert "fern A5: no notch" in told["printed"]
    assert "Caution: fern is uncalibrated" in told["printed"]
    assert "gf uncalibrated more friction than one of fern" in told["printed"]
    assert re.search(r"The let-off of moss comes 0\.[34]\d ± 0\.\d+ mm earlier", told["printed"])


def test_it_draws_what_its_words_promise(told: dict[str, Any]) -> None:
    words = [picture.get_ylabel() for picture in told["pictures"]]

    assert words == [
        "force (gf uncalibrated)",
        "force (gf uncalibrated)",
        "Let-off, place of the peak (mm)",
        "moss less fern:\nFriction (gf uncalibrated)",
        "moss less fern, naturals, middle (gf uncalibrated)",
    ]
    assert all(picture.has_data() for picture in told["pictures"])


def test_it_says_what_its_words_call_by_name() -> None:
    """Commands, files and sections of README that the words name are there."""
    readme = (NOTEBOOK.parents[1] / "README.md").read_text(encoding="utf-8")
    words = "".join("".join(cell["source"]) for cell in cells("markdown"))

    for section in ("Two keyboards side by side", "Calibrate"):
        assert f'"{section}"' in words
        assert f"## {section}\n" in readme
    for command in ("export", "report"):
        assert f"`keyplumb {command} " in words


def test_no_output_and_no_path_of_a_machine_is_kept_in_it() -> None:
    code = cells("code")

    assert code
    assert [cell for cell in code if cell["outputs"] or cell["execution_count"] is not None] == []
    assert not any(place in NOTEBOOK.read_text(encoding="utf-8") for place in ("/home/", "/Users/", "/work/", "/tmp/"))
