"""All 88 keys with an interruption in the middle, by motor and by a simulated hand, through a real pseudo-terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.survey import Where, resume_survey
from daq.talk import Progress
from recordings.keys import ALL_KEYS, Key
from recordings.partial import partial_folder
from recordings.reader import open_recording, read_recording
from tests.daq.rigs import ONE_STROKE, a_plan, a_rig, load_slow, resume, survey
from tests.daq.test_by_hand import Person, a_hand_rig, press


def interrupt_in_the_middle(progress: Progress) -> None:
    if progress.key == Key(45) and progress.doing.startswith("stroke"):
        raise KeyboardInterrupt


def test_by_motor(tmp_path: Path) -> None:
    path, resumed = tmp_path / "fern.h5", []
    with a_rig() as port:
        with pytest.raises(KeyboardInterrupt):
            survey(port, path, a_plan("all", ONE_STROKE), interrupt_in_the_middle)
        assert not path.exists()
        result = resume(port, path, resumed.append)

    assert resumed[0].key == Key(45)
    assert result.recorded == ALL_KEYS
    assert not partial_folder(path).exists()
    with open_recording(path) as recording:
        assert recording.complete
        assert recording.keys == ALL_KEYS
        for key in recording.read_keys():
            assert [mark.name for mark in key.marks] == ["stroke 1", "return"]
            assert len(key.set_aside) == (key.key == Key(45))
            assert key.damage == ()


def test_by_hand(tmp_path: Path) -> None:
    path = tmp_path / "moss.h5"
    first, second = Person(), Person()
    first.interrupt_at = "E4"
    one_press = load_slow().model_copy(update={"steps": (load_slow().steps[1].model_copy(update={"count": 1}),)})
    with a_rig(rig=a_hand_rig(bad_share=0.1, seed=5)) as port:
        with pytest.raises(KeyboardInterrupt):
            press(port, path, first, a_plan("all", one_press))
        result = resume_survey(Where(port_path=port, out=path), second.talk())
    recording = read_recording(path)

    assert second.seen[0][0] == "E4"
    assert result.recorded == ALL_KEYS
    assert recording.complete
    for key in recording.keys:
        assert sum(mark.name.endswith(": good") for mark in key.marks) == 1
