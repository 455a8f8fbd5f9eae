"""What a rig prints, as its owner writes it down in TOML: how lines are made and what their columns mean.

How it works: pydantic checks every key by itself; `_fits_together` checks what only shows between keys. A fault is told
with file, line and key. Lines are ASCII text; a line that holds anything else is damage.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rig.errors import MalformedProfile
from rig.profiles.toml_place import line_of_key
from rig.profiles.units import MICRO, MICRONEWTON_PER, MICROSECOND_PER, NANOMETRE_PER

PROFILE_FOLDER = Path(__file__).parent / "builtin"
MOST_COLUMNS = 64

ColumnNumber = Annotated[int, Field(ge=1, le=MOST_COLUMNS)]
"""From 1, as people count."""
Comment = Annotated[str, Field(min_length=1, pattern=r"^[!-*/:<-~][!-~]*$")]
Name = Annotated[str, Field(min_length=1, max_length=60)]
Int32 = Annotated[int, Field(ge=-(2**31), lt=2**31)]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _Between(ValueError):
    """Something that does not fit together, and the key to blame for it."""

    def __init__(self, why: str, *key: str) -> None:
        self.key = key
        super().__init__(why)


class TimeColumn(_Closed):
    """The rig's own time stamp."""

    column: ColumnNumber
    unit: Literal["s", "ms", "us"]
    wraps_at: Annotated[int, Field(ge=1000, le=2**40)] | None = None
    """The stamp starts again at 0 after this many units, e.g. 4294967296 for 32 bits; None: it never does."""

    @property
    def us_per_unit(self) -> int:
        """Factor from what is printed to microseconds."""
        return int(MICROSECOND_PER[self.unit])


class _Sensor(_Closed):
    column: ColumnNumber
    counts_per_unit: Annotated[float, Field(ge=1e-6, le=1e12)] | None = None
    """The column holds whole counts of a converter, so many to the unit; None: it holds values in the unit itself."""
    zero_counts: Int32 = 0
    """What a counting column shows at zero."""
    sign: Literal[1, -1] = 1

    def _factor(self) -> float:
        """Return how many 1 uN or 1 nm there are to the unit."""
        raise NotImplementedError

    @property
    def kept_per_printed(self) -> float:
        """What is kept (whole counts, or whole 1 uN, 1 nm) for one unit of what is printed."""
        return 1.0 if self.counts_per_unit is not None else self._factor()

    @property
    def kept_per_newton_or_mm(self) -> float:
        """Scale of what is kept: kept = value * this + zero_counts. It has the sign, so counts stay as printed."""
        if self.counts_per_unit is None:
            return float(self.sign * MICRO)
        return self.sign * self.counts_per_unit / self._factor() * MICRO


class ForceColumn(_Sensor):
    """The load cell; `sign` is +1 if the printed value rises when the plunger pushes on the key."""

    unit: Literal["N", "mN", "gf", "kgf", "ozf", "lbf"]
    range_newton: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    """Where the cell ends; None: not stated."""
    delay_us: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    """The force shown was true this long before its line (the converter's filter)."""

    def _factor(self) -> float:
        return float(MICRONEWTON_PER[self.unit])


class DisplacementColumn(_Sensor):
    """The displacement gauge; `sign` is +1 if the printed value rises when the plunger goes down."""

    unit: Literal["mm", "um", "in"]
    travel_mm: tuple[float, float] | None = Field(default=None, strict=False)
    """The gauge's ends, sign already applied; None: not stated."""

    def _factor(self) -> float:
        return float(NANOMETRE_PER[self.unit])


class CounterColumn(_Closed):
    """A number that rises by one from line to line."""

    column: ColumnNumber
    modulus: Annotated[int, Field(ge=100, le=2**32)]
    """It starts again at 0 after modulus - 1. Under 100 a lost line cannot be told from a restart."""


class SwitchColumn(_Closed):
    """A column of 0 and 1."""

    column: ColumnNumber
    active: Literal[0, 1] = 1
    """What is printed while the foot switch is pressed, or the contact closed."""


class Profile(_Closed):
    """A rig that prints lines."""

    name: Name
    description: str = ""
    model: Name = "prints lines"
    serial_number: Name = "not stated"
    baud: Annotated[int, Field(ge=50, le=20_000_000)]
    separator: Literal[",", ";", "tab", "spaces"]
    decimal: Literal[".", ","] = "."
    comments: tuple[Comment, ...] = Field(default=("#",), strict=False)
    """Lines that begin with one of these are skipped."""
    columns: ColumnNumber
    """How many a line has, the unused ones included; another number of columns is damage."""
    rate_hz: Annotated[float, Field(ge=1.0, le=100_000.0)] | None = None
    """Lines per second; must be given if there is no time column."""
    compliance_mm_per_newton: Annotated[float, Field(ge=0, le=10)] = 0.0
    """How far the rig itself gives under load."""
    time: TimeColumn | None = None
    force: ForceColumn
    displacement: DisplacementColumn
    counter: CounterColumn | None = None
    foot_switch: SwitchColumn | None = None
    contact: SwitchColumn | None = None

    def mapped(self) -> dict[str, int]:
        """Return the number of every column that means something, by its key in the profile."""
        names = ("time", "force", "displacement", "counter", "foot_switch", "contact")
        return {name: part.column for name in names if (part := getattr(self, name)) is not None}

    @property
    def period_us(self) -> float | None:
        """Time between two lines; None: not stated."""
        return None if self.rate_hz is None else 1e6 / self.rate_hz

    @property
    def shows_losses(self) -> bool:
        """Whether a line that is lost on the way leaves a trace in the next one."""
        return self.counter is not None or (self.time is not None and self.rate_hz is not None)

    def losses_in_words(self) -> str:
        """Return how far lost lines can be seen, for the person at the bench."""
        if self.counter is not None:
            return "lost lines show in the counter"
        if self.shows_losses:
            return "lost lines show as steps of more than 1.5 periods in the time stamp"
        return "lines lost on the way cannot be seen: there is no counter, and no time stamp with rate_hz"

    @model_validator(mode="after")
    def _fits_together(self) -> Profile:
        if self.separator == self.decimal:
            raise _Between("the decimal comma cannot separate columns too; choose another separator", "separator")
        if self.time is None and self.rate_hz is None:
            raise _Between("is missing; without a [time] column the rate must be given", "rate_hz")
        taken: dict[int, str] = {}
        for name, column in self.mapped().items():
            if column > self.columns:
                raise _Between(f"there is no column {column}, a line has {self.columns}", name, "column")
            if column in taken:
                raise _Between(f"column {column} is the {taken[column]} already", name, "column")
            taken[column] = name
        for name, sensor in (("force", self.force), ("displacement", self.displacement)):
            if sensor.zero_counts and sensor.counts_per_unit is None:
                raise _Between("is for columns of counts; counts_per_unit is missing", name, "zero_counts")
        if self.displacement.travel_mm is not None and self.displacement.travel_mm[0] >= self.displacement.travel_mm[1]:
            raise _Between("the upper end comes first: [0.0, 25.0]", "displacement", "travel_mm")
        return self


def load_profile(name_or_path: str) -> Profile:
    """Return a built-in profile by name, or one from a TOML file (a name that ends in .toml is a path).

    Raises MalformedProfile with file, line and key if there is no such file or it does not hold a profile.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        path = PROFILE_FOLDER / f"{name_or_path}.toml"
    if not path.is_file():
        known = ", ".join(built_in_profiles())
        why = f"no such profile; built in are {known}; or give the path of a .toml file"
        raise MalformedProfile(name_or_path, None, None, why)
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as fault:
        raise MalformedProfile(path, None, None, "it is no UTF-8 text, as TOML must be") from fault
    return parse_profile(text, path)


def built_in_profiles() -> list[str]:
    """Return the names of the profiles that come with keyplumb."""
    return sorted(file.stem for file in PROFILE_FOLDER.glob("*.toml"))


def parse_profile(text: str, path: Path | str) -> Profile:
    """Return the profile in a TOML text. path: what to call it in errors. Raises MalformedProfile."""
    try:
        return Profile.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:  # its text names line and column already
        raise MalformedProfile(path, None, None, str(fault)) from fault
    except ValidationError as fault:
        # a misspelt key comes first: the one it stands for is missing for that reason only
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        between = first.get("ctx", {}).get("error")
        key = between.key if isinstance(between, _Between) else first["loc"]
        why = str(between) if isinstance(between, _Between) else WORDS.get(first["type"], first["msg"])
        named = ".".join(str(part) for part in key)
        raise MalformedProfile(path, line_of_key(text, key), named, why) from fault


WORDS = {
    "missing": "is missing",
    "extra_forbidden": "a profile has no such key; is it misspelt?",
    "string_pattern_mismatch": "must be visible ASCII that no line of numbers begins with",
    "model_type": "must be a table of its own, with its keys below it",
}
"""What pydantic finds, in the words of this page where its own are not plain."""
