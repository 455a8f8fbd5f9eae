"""A gauge study by the command itself, through a pseudo-terminal: planned, begun, stopped, gone on with, analysed."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from daq.programme import load_programme
from daq.talk import Progress
from keyplumb.__main__ import main
from keyplumb.gauging.plan import Press, StudyPlan, read_plan
from recordings.partial import partial_folder
from recordings.reader import open_recording
from tests.daq.rigs import a_plan, a_rig, survey
from tests.end_to_end.test_demo import KEYPLUMB

pytestmark = pytest.mark.slow
PIPE = subprocess.PIPE
QUICK = """
name = "quick"
summary = "A rest and two strokes."
steps = [{ do = "rest" }, { do = "strokes", count = 2 }, { do = "rest" }]
"""


def at_the_bench(folder: Path, port: str, answer: Callable[[int, str], str]) -> tuple[int, list[str], str]:
    """Run `keyplumb gauge record`; give its exit code, what it asked and what it said.

    answer: given which question it is (from 0) and the question, what the person types, without Enter.
    """
    asked, said = [], []
    command = [*KEYPLUMB, "gauge", "record", str(folder), "--port", port]
    with subprocess.Popen(command, stdin=PIPE, stdout=PIPE, stderr=PIPE, text=True, bufsize=1) as program:
        assert program.stdin is not None
        assert program.stderr is not None
        for line in program.stderr:
            said.append(line)
            if line.startswith("> "):
                program.stdin.write(answer(len(asked), line) + "\n")
                asked.append(line.removeprefix("> ").strip())
    return program.returncode, asked, "".join(said)


def cut_off_within_a_press(plan: StudyPlan, press: Press, port: str) -> None:
    """Leave the recording of a press as the end of the program within its first stroke leaves it."""
    survey_plan = a_plan(press.key, load_programme(plan.told.programme))
    run = replace(survey_plan.run, operator=press.operator)

    def cut_off(progress: Progress) -> None:
        if progress.doing.startswith("stroke"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        survey(port, plan.path(press), replace(survey_plan, run=run), cut_off)
    assert partial_folder(plan.path(press)).exists()


def test_a_study_is_pressed_stopped_gone_on_with_and_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two operators, three keys, two trials; the third press is repeated, the person leaves at the sixth question, and
    the fourth press is cut off before it is gone on with."""
    (tmp_path / "quick.toml").write_text(QUICK)
    folder = tmp_path / "study"
    words = (
        "--keys",
        "A0,C1,C#1",
        "--operators",
        "Ada,Ben",
        "--programme",
        str(tmp_path / "quick.toml"),
        "--instrument",
        "fern",
    )
    assert main(["gauge", "plan", str(folder), *words, "--trials", "2", "--seed", "4"]) == 0
    plan = read_plan(folder)

    with a_rig() as port:
        stopped, asked, said = at_the_bench(folder, port, lambda number, _: {3: "r", 5: "q"}.get(number, ""))
        done = plan.done()
        cut_off_within_a_press(plan, plan.presses[3], port)
        finished, asked_then, _ = at_the_bench(folder, port, lambda _, __: "")
    aside = folder / f"{plan.presses[2].file[:-3]}-set-aside-1.h5"
    capsys.readouterr()
    judged = main(["gauge", "study", str(folder), "--tolerance", "down_weight=6gf", "--json"])
    view = json.loads(capsys.readouterr().out)

    assert (stopped, finished) == (130, 0)
    assert "keep hands" in said.lower()
    assert "keyplumb resume" not in said
    assert [question.split(",")[0] for question in asked] == [f"{n} of 12" for n in (1, 2, 3, 4, 3, 4)]
    assert done == plan.presses[:3]
    assert aside.exists()  # what was repeated is kept, under a name that no plan asks for
    assert [question.split(",")[0] for question in asked_then] == [f"{n} of 12" for n in range(4, 13)]
    assert plan.done() == plan.presses
    assert all(not partial_folder(plan.path(press)).exists() for press in plan.presses)
    for press in plan.presses:
        with open_recording(plan.path(press)) as recording:
            assert recording.complete
            assert [key.name for key in recording.keys] == [press.key]
            assert (recording.header.run.instrument, recording.header.run.operator) == ("fern", press.operator)
            (key,) = recording.read_keys()
            assert len(key.set_aside) == (press is plan.presses[3])  # within its own file
    (weight,) = view["measurands"]
    assert (view["presses"], view["recorded"], view["seed"]) == (12, 12, 4)
    assert weight["percent"]["value"] < 10.0  # the virtual rig repeats to some 0.02 gf
    assert weight["verdict_by_estimate"] == "fit"
    assert judged == {"fit": 0, "fit with caution": 0, "cannot tell": 6}[view["verdict"]]  # two operators are few
