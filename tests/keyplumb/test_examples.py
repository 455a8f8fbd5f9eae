"""Examples in the docstrings of the public API run as they stand there."""

from __future__ import annotations

import doctest
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from types import ModuleType

import pytest
from matplotlib import pyplot

import keyplumb.api
import keyplumb.compared
import keyplumb.measured
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An octave of two keyboards: moss takes 0.1 N more going down."""
    folder = tmp_path_factory.mktemp("examples")
    for name, down in (("fern", 0.50), ("moss", 0.60)):
        keys = [a_recording(SyntheticKey(down=down), Press(seed=key), name=Key(key)) for key in range(40, 52)]
        write_recording(folder / f"{name}.h5", a_header(name), keys)
    for name, minutes in (("before", -10.0), ("between", 10.0), ("after", 20.0)):
        header = a_header("fern")
        run = replace(header.run, started_at=header.run.started_at + timedelta(minutes=minutes))
        again = [a_recording(SyntheticKey(down=0.50), Press(seed=7 * key), name=Key(key)) for key in (40, 44, 51)]
        write_recording(folder / f"fern-{name}.h5", replace(header, run=run), again)
    return folder


@pytest.mark.parametrize(
    "module", [keyplumb.api, keyplumb.compared, keyplumb.measured], ids=lambda module: module.__name__
)
def test_examples_run_and_say_what_they_say(
    module: ModuleType, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    failed, tried = doctest.testmod(module)
    pyplot.close("all")

    assert tried > 0
    assert failed == 0, capsys.readouterr().out
