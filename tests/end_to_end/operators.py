"""A person at the bench, in code: reads what `keyplumb calibrate` asks for, tells the virtual rig, and types Enter."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.end_to_end.test_demo import KEYPLUMB

SPEED = 100
PIPE = subprocess.PIPE
BENCHES = Path(__file__).parents[2] / "rig" / "virtual" / "workbenches"
MASSES, BLOCKS = BENCHES / "tern_lane_masses.toml", BENCHES / "tern_lane_blocks.toml"
GRAVITY = "9.8125±0.0002"

Deed = Callable[[str, int], tuple[list[str], str]]
"""Given what is asked for and which question it is (from 0), what to tell the rig and what to type."""


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What a command said and returned."""

    code: int
    said: str
    asked: tuple[str, ...]
    stdout: str

    @property
    def view(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.stdout)
        return found


@dataclass(frozen=True, slots=True)
class ServedRig:
    """A virtual rig with its workbench, in a program of its own."""

    port: str
    program: subprocess.Popen[str]
    truths: dict[str, Any]

    def say(self, line: str) -> str:
        assert self.program.stdin is not None
        assert self.program.stderr is not None
        for _ in range(500):  # a person waits until the plunger stands; each answer takes the rig a moment
            self.program.stdin.write(line + "\n")
            answer = self.program.stderr.readline().strip()
            if "wait until it stands" not in answer and "bring it up" not in answer:
                break
        assert answer.startswith("ok"), f"{line}: {answer}"
        return answer


@contextmanager
def a_served_rig(folder: Path, *words: str, workbench: str = "tern_lane", speed: int = SPEED) -> Iterator[ServedRig]:
    truths = folder / "truths.json"
    command = [*KEYPLUMB, "virtual-rig", "--workbench", workbench, "--speed", str(speed), "--truths", str(truths)]
    with subprocess.Popen([*command, *words], stdin=PIPE, stdout=PIPE, stderr=PIPE, text=True, bufsize=1) as rig:
        assert rig.stdout is not None
        assert rig.stderr is not None
        try:
            port = rig.stdout.readline().strip()
            rig.stderr.readline()
            rig.stderr.readline()
            yield ServedRig(port, rig, json.loads(truths.read_text())["workbench"])
        finally:
            rig.terminate()


def as_asked(asked: str, _: int) -> tuple[list[str], str]:
    """Do what is asked for, and go on."""
    for pattern, act in ACTS:
        found = re.search(pattern, asked)
        if found:
            return [found.expand(act).strip()], ""
    return [], ""


ACTS = (
    (r"empty the pan", "pan"),
    (r"on the pan: ([^(]+) \(", r"pan \1"),
    (r"the bare table", "under table"),
    (r"under the plunger: block (\S+)", r"under block \1"),
    (r"under the plunger: (?:a rigid|the) stop", "under stop"),
    (r"under the plunger: (?:a steel|the) spring", "under spring"),
    (r"^press slowly", "press"),
    (r"^press quickly", "stroke 20"),
)


def calibrate(rig: ServedRig, *words: str, deed: Deed = as_asked) -> Calibrated:
    """Run one calibration from beginning to end, with someone at the bench."""
    command = [*KEYPLUMB, "calibrate", *words, "--port", rig.port, "--json"]
    said, asked = [], []
    with subprocess.Popen(command, stdin=PIPE, stdout=PIPE, stderr=PIPE, text=True, bufsize=1) as program:
        assert program.stdin is not None
        assert program.stdout is not None
        assert program.stderr is not None
        for line in program.stderr:
            said.append(line)
            if line.startswith(("> ", "press ")):
                question = line.removeprefix("> ").strip()
                acts, answer = deed(question, len(asked))
                asked.append(question)
                for act in acts:
                    rig.say(act)
                if line.startswith("> "):
                    program.stdin.write(answer + "\n")
        stdout = program.stdout.read()
    return Calibrated(program.returncode, "".join(said), tuple(asked), stdout)
