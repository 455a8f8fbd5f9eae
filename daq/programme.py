"""What is done to one key: a stroke programme as data, in TOML. The steps are carried out in `steps.py`.

How it works: a programme says how the plunger finds the key and lists its steps in order; each step is one small
model, told apart by its word `do`. Built-in programmes lie in `programmes/`; anybody may write one more.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daq.errors import MalformedPlan
from rig.profiles.toml_place import line_of_key

PROGRAMME_FOLDER = Path(__file__).parent / "programmes"

Positive = Annotated[float, Field(gt=0.0)]
Count = Annotated[int, Field(ge=1, le=100)]


class Closed(BaseModel):
    """A table that people write: nothing but the named entries."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Approach(Closed):
    """How the plunger finds the key, and where strokes start."""

    speed_mm_per_s: Positive = 10.0
    touch_newton: Positive = 0.15
    """Under the lightest balance weight, well above noise."""
    clearance_mm: Positive = 0.6
    """How far above the touched key a slow stroke starts: enough air to read the zero of the cell."""
    acceleration_mm_per_s2: Positive = 200.0


class Rest(Closed):
    """Stand in the air: the zero of the cell and its drift."""

    do: Literal["rest"]
    seconds: Annotated[float, Field(gt=0.0, le=86_400.0)] = 0.3


class Strokes(Closed):
    """Press slowly from the air to a force on the key bed, and let up."""

    do: Literal["strokes"]
    count: Count = 3
    speed_mm_per_s: Annotated[float, Field(ge=0.5, le=5.0)] = 4.0
    """Below 5 mm/s the inertia of the start ramp is under 1 gf (m v^2 / 2 d with 0.35 kg and 0.5 mm)."""
    force_limit_newton: Positive = 4.0
    """Beyond the 3.0 N at which the key dip is read."""
    acceleration_mm_per_s2: Positive = 200.0
    rest_s: Positive = 0.3


class SpeedLadder(Closed):
    """Press at rising speeds, from the touched key to just above the bed: what speed gives what velocity, how late."""

    do: Literal["speed ladder"]
    speeds_mm_per_s: tuple[Positive, ...] = (5.0, 10.0, 20.0, 50.0, 100.0)
    strokes_each: Count = 2
    stop_above_bed_mm: Positive = 0.3
    acceleration_mm_per_s2: Positive = 5000.0
    force_limit_newton: Positive = 10.0
    """Above weight, notch and the key's inertia at this acceleration (0.35 kg: 1.8 N)."""
    rest_s: Positive = 0.3


class PartialLifts(Closed):
    """Close in on the lift from the bed after which the key sounds again, by halving what is left in doubt."""

    do: Literal["partial lifts"]
    closest_mm: Positive = 0.05
    most_lifts: Count = 12
    speed_mm_per_s: Annotated[float, Field(gt=0.0, le=20.0)] = 5.0
    force_limit_newton: Positive = 4.0
    acceleration_mm_per_s2: Positive = 200.0
    listen_s: Positive = 0.1
    """How long after a press a note may come: above any latency."""


class RepetitionLadder(Closed):
    """Press in ever faster rhythm until not all presses sound."""

    do: Literal["repetition ladder"]
    rates_hz: tuple[Positive, ...] = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)
    presses: Count = 10
    lift_mm: Positive = 6.0
    """Above any reset height; a plunger that has left the key meets it again on its way up, so the force rises with the
    rate, and the ladder also ends at the force limit."""
    stop_above_bed_mm: Positive = 0.3
    acceleration_mm_per_s2: Positive = 5000.0
    force_limit_newton: Positive = 12.0
    listen_s: Positive = 0.2


Step = Annotated[Rest | Strokes | SpeedLadder | PartialLifts | RepetitionLadder, Field(discriminator="do")]


class Programme(Closed):
    """A stroke programme."""

    name: str
    summary: str
    approach: Approach = Approach()
    steps: Annotated[tuple[Step, ...], Field(min_length=1)]

    def describe(self) -> str:
        """Return the programme in one line, for the recording."""
        return f"{self.name}: {', '.join(_in_words(step) for step in self.steps if step.do != 'rest')}"


def _in_words(step: Step) -> str:
    match step:
        case Rest():
            return f"rest {step.seconds:g} s"
        case Strokes():
            return f"{step.count} x {step.speed_mm_per_s:g} mm/s to {step.force_limit_newton:g} N"
        case SpeedLadder():
            speeds = " ".join(f"{speed:g}" for speed in step.speeds_mm_per_s)
            return f"{step.strokes_each} x {speeds} mm/s"
        case PartialLifts():
            return f"partial lifts to {step.closest_mm:g} mm"
        case RepetitionLadder():
            return f"{step.presses} presses at {' '.join(f'{rate:g}' for rate in step.rates_hz)} Hz"


def built_in_programmes() -> tuple[str, ...]:
    """Return the names of the built-in programmes."""
    return tuple(sorted(path.stem for path in PROGRAMME_FOLDER.glob("*.toml")))


def load_programme(name_or_path: str) -> Programme:
    """Return a built-in programme by name, or one from a TOML file. Raises MalformedPlan naming file and place."""
    path = Path(name_or_path)
    if path.suffix != ".toml":
        path = PROGRAMME_FOLDER / f"{name_or_path}.toml"
    if not path.is_file():
        known = ", ".join(built_in_programmes())
        raise MalformedPlan(name_or_path, f"no such programme; built in are {known}; or give the path of a .toml file")
    return read_toml(path, Programme)


Model = TypeVar("Model", bound=BaseModel)


def read_toml(path: Path, model: type[Model]) -> Model:
    """Return a file that people write as its model. Raises MalformedPlan naming file, line and place."""
    try:
        text = path.read_text(encoding="utf-8")
        return model.model_validate(tomllib.loads(text))
    except OSError as fault:
        raise MalformedPlan(str(path), fault.strerror or str(fault)) from fault
    except UnicodeDecodeError as fault:
        raise MalformedPlan(str(path), "it is no UTF-8 text, as TOML must be") from fault
    except tomllib.TOMLDecodeError as fault:  # its text names line and column already
        raise MalformedPlan(str(path), str(fault)) from fault
    except ValidationError as fault:
        # a misspelt entry comes first: the one it stands for is missing for that reason only
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        place = tuple(part for part in first["loc"] if part not in STEP_WORDS)
        line = line_of_key(text, place)
        where = str(path) if line is None else f"{path}, line {line}"
        raise MalformedPlan(where, f"{_place_in_words(place)}: {WORDS.get(first['type'], first['msg'])}") from fault


def _place_in_words(place: tuple[str | int, ...]) -> str:
    """Return a place as people count: `steps 2, count`."""
    words = ""
    for part in place:
        words += f" {part + 1}" if isinstance(part, int) else f"{', ' if words else ''}{part}"
    return words or "the file"


STEP_WORDS = ("rest", "strokes", "speed ladder", "partial lifts", "repetition ladder")
"""pydantic puts the kind of a step among the names of a place."""
WORDS = {
    "missing": "is missing",
    "extra_forbidden": "there is no such entry; is it misspelt?",
    "union_tag_not_found": f"`do` is missing; it is one of {', '.join(STEP_WORDS)}",
    "union_tag_invalid": f"`do` must be one of {', '.join(STEP_WORDS)}",
    "too_short": "needs at least one",
}
"""What pydantic finds, in the words of this page where its own are not plain."""
