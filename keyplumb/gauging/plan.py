"""The plan of a crossed study: who presses which key when, as a TOML file that stands in the study's folder.

How it works: in every trial the operators come in random order, and each presses all keys in an order of its own; so
a drift of the rig or of the keys falls on all alike. The order is drawn once by a seed and written down press by
press: the file, not the seed, is what is followed. A press is done when its recording is there.
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field

from processing.errors import FileIsThere, MalformedStudy
from processing.toml_file import Closed, TomlFault, fault_at, read_toml
from recordings.errors import NoSuchFile, UnknownKey
from recordings.keys import Key
from recordings.safe_files import whole_or_nothing

PLAN_NAME = "study.toml"
REMEDY = "mend it, or draw a new plan into another folder with `keyplumb gauge plan`"


class Press(Closed):
    """One key, pressed by one operator in one trial, and the file it is kept in."""

    file: Annotated[str, Field(pattern=r"^[^/\\]+\.h5$")]
    operator: Annotated[str, Field(min_length=1)]
    key: str
    trial: Annotated[int, Field(ge=1)]


class PlanFile(Closed):
    """The file as it is written."""

    seed: int
    programme: str
    instrument: str | None = None
    """The model of the keyboard; None: nobody has said it, and recordings are named after the folder."""
    press: Annotated[tuple[Press, ...], Field(min_length=8)]
    """Two operators, two keys, two trials at least."""


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """A plan and the folder it stands in."""

    folder: Path
    told: PlanFile

    @property
    def presses(self) -> tuple[Press, ...]:
        """All presses in their order."""
        return self.told.press

    def path(self, press: Press) -> Path:
        """Return where the recording of a press lies, or will lie."""
        return self.folder / press.file

    def done(self) -> tuple[Press, ...]:
        """Return the presses that are recorded."""
        return tuple(press for press in self.presses if self.path(press).exists())

    def next(self) -> int | None:
        """Return the place, from 0, of the first press that is not recorded; None: all are."""
        return next((place for place, press in enumerate(self.presses) if not self.path(press).exists()), None)

    def keys(self) -> tuple[Key, ...]:
        """Return the keys of the study, left to right."""
        return tuple(sorted({Key.from_name(press.key) for press in self.presses}))


def draw_plan(
    keys: tuple[Key, ...],
    operators: tuple[str, ...],
    trials: int,
    *,
    seed: int,
    programme: str,
    instrument: str | None = None,
) -> PlanFile:
    """Return a plan in random order. Two keys, two operators, two trials at least."""
    chance = random.Random(seed)
    presses: list[Press] = []
    for trial in range(1, trials + 1):
        for operator in chance.sample(operators, len(operators)):
            for key in chance.sample(keys, len(keys)):
                name = key.name.replace("#", "s")
                file = f"{len(presses) + 1:03d}-{name}-{trial}.h5"
                presses.append(Press(file=file, operator=operator, key=key.name, trial=trial))
    return PlanFile(seed=seed, programme=programme, instrument=instrument, press=tuple(presses))


def write_plan(folder: Path, plan: PlanFile) -> Path:
    """Write a plan into its folder, which is made, and return its path. Raises FileIsThere, CannotWrite, OSError."""
    path = folder / PLAN_NAME
    if path.exists():
        raise FileIsThere(path, "choose another folder, or go on with the plan that is there")
    folder.mkdir(parents=True, exist_ok=True)
    lines = [
        "# A gauge study: who presses which key when, drawn at random; it is followed from top to bottom.",
        f"seed = {plan.seed}",
        f"programme = {json.dumps(plan.programme)}",
    ]
    lines += [] if plan.instrument is None else [f"instrument = {json.dumps(plan.instrument)}"]
    for press in plan.press:
        lines += ["", "[[press]]"]
        lines += [f"{name} = {json.dumps(value)}" for name, value in press.model_dump().items()]
    with whole_or_nothing(path) as temporary:
        temporary.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def read_plan(folder: Path) -> StudyPlan:
    """Return the plan of a study. Raises NoSuchFile, MalformedStudy with file, line and reason."""
    path = folder / PLAN_NAME
    if not path.is_file():
        raise NoSuchFile(path)
    try:
        told, text = read_toml(path, PlanFile)
        for number, press in enumerate(told.press):
            _demand_key(path, text, number, press.key)
    except TomlFault as fault:
        raise MalformedStudy(str(fault), "nothing was pressed or read", REMEDY) from fault
    return StudyPlan(folder, told)


def _demand_key(path: Path, text: str, number: int, name: str) -> None:
    try:
        Key.from_name(name)
    except UnknownKey as fault:
        raise fault_at(path, text, ("press", number, "key"), str(fault)) from fault
