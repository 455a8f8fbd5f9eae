"""A production line of virtual keyboards: units of one model, made one after the other, and what befell the line.

How it works: each unit is the line's scenario with scatter of its own, shifted as a whole by what differs from unit to
unit and by the events that the line's file has planted: a drift (rising evenly), a step (from a unit on) or a batch
(some units in a row). Single keys may be wrong besides. The same file gives the same units, whichever is made first.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rig.errors import MalformedScenario
from rig.virtual.scenario import Fault, FaultKind, Graded, KeySpec, Quantities, Scenario, keyboard_of, load_scenario

LINE_FOLDER = Path(__file__).parent / "lines"


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LineEvent(_Closed):
    """Something that befell the line."""

    kind: Literal["drift", "step", "batch"]
    why: str
    quantity: str
    """Of the mechanism, one of `Quantities`."""
    from_unit: int = Field(ge=1)
    to_unit: int
    amount: float
    """By how much the quantity is changed, in its own unit; of a drift, at `to_unit`."""

    @model_validator(mode="after")
    def _fits(self) -> LineEvent:
        if self.quantity not in Quantities.model_fields:
            raise ValueError(f"{self.quantity!r} is no quantity; known are {', '.join(Quantities.model_fields)}")
        if self.to_unit <= self.from_unit:
            raise ValueError(f"it ends with unit {self.to_unit} and begins with {self.from_unit}")
        return self

    def shift(self, unit: int) -> float:
        """Return by how much the quantity of a unit is changed."""
        if not self.from_unit <= unit <= self.to_unit:
            return 0.0
        if self.kind == "drift":
            return self.amount * (unit - self.from_unit) / (self.to_unit - self.from_unit)
        return self.amount


class BadKey(_Closed):
    """A single key that is wrong on purpose."""

    unit: int
    key: int
    kind: FaultKind


class Line(_Closed):
    """One line file."""

    scenario: str
    """The model: a built-in scenario, or a file."""
    seed: int
    units: int = Field(ge=1, le=9999)
    keys: tuple[int, ...] = Field(min_length=1)
    """Numbers of the keys that are pressed."""
    strokes: int = Field(default=3, ge=1, le=20)
    """Slow strokes a key."""
    reference_units: int = Field(default=30, ge=2)
    """So many first units are good: limits are learned from them, and charts frozen."""
    unit_scatter: dict[str, float]
    """Standard deviation from unit to unit, of some `Quantities`."""
    events: tuple[LineEvent, ...] = ()
    bad_keys: tuple[BadKey, ...] = ()

    @model_validator(mode="after")
    def _knows_its_quantities(self) -> Line:
        unknown = set(self.unit_scatter) - set(Quantities.model_fields)
        if unknown:
            raise ValueError(f"unit_scatter: {', '.join(sorted(unknown))}: no such quantity")
        return self

    @model_validator(mode="after")
    def _has_what_befalls_it(self) -> Line:
        for bad in self.bad_keys:
            if not 1 <= bad.unit <= self.units or bad.key not in self.keys:
                raise ValueError(f"bad_keys: key {bad.key} of unit {bad.unit} is not among its units and keys")
        for event in self.events:
            if event.to_unit > self.units:
                raise ValueError(f"events: one ends with unit {event.to_unit}; there are {self.units}")
        return self


def load_line(name_or_path: str) -> Line:
    """Return a built-in line by name (`moss`) or one from a TOML file.

    Raises MalformedScenario if there is no such file or it does not hold a line.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        path = LINE_FOLDER / f"{name_or_path}.toml"
    try:
        return Line.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError as fault:
        raise MalformedScenario(f"no line {name_or_path!r}; built in is moss; or give the path of a .toml") from fault
    except tomllib.TOMLDecodeError as fault:
        raise MalformedScenario(f"{path}: {fault}") from fault
    except ValidationError as fault:
        raise MalformedScenario(f"{path}: {_first_mistake(fault.errors())}") from fault


def _first_mistake(mistakes: Sequence[Any]) -> str:
    """Return one mistake in words; a misspelt name goes before the entry that is missing for it."""
    first = min(mistakes, key=lambda one: one["type"] != "extra_forbidden")
    place = ".".join(map(str, first["loc"]))
    if first["type"] != "extra_forbidden":
        return f"{place}: {first['msg'].removeprefix('Value error, ')}" if place else first["msg"]
    kinds: dict[Any, type[_Closed]] = {"events": LineEvent, "bad_keys": BadKey} if len(first["loc"]) > 1 else {}
    known = kinds.get(first["loc"][0], Line).model_fields
    meant = get_close_matches(str(first["loc"][-1]), known, n=1)
    advice = f"is it misspelt for {meant[0]}?" if meant else f"known are {', '.join(known)}"
    return f"{place}: there is no such entry; {advice}"


def serial_of(line: Line, unit: int) -> str:
    """Return a unit's serial number, `moss-001` for the first one of moss."""
    return f"{line.scenario}-{unit:03}"


def keys_of_unit(line: Line, unit: int) -> tuple[KeySpec, ...]:
    """Return the keys of one unit that are pressed, as they really are. unit: 1 .. line.units."""
    scenario = scenario_of_unit(line, load_scenario(line.scenario), unit)
    return tuple(key for key in keyboard_of(scenario) if key.number in line.keys)


def scenario_of_unit(line: Line, model: Scenario, unit: int) -> Scenario:
    """Return the scenario of one unit: the model's, with its own scatter, shifts and faults."""
    random = np.random.default_rng((line.seed, unit))
    shifts = dict(_shifts(line, unit, random))
    graded = {name: _shifted(getattr(model.quantities, name), shift) for name, shift in shifts.items()}
    faults = tuple(Fault(key=bad.key, kind=bad.kind) for bad in line.bad_keys if bad.unit == unit)
    return model.model_copy(
        update={
            "name": serial_of(line, unit),
            "seed": int(random.integers(2**31)),
            "quantities": model.quantities.model_copy(update=graded),
            "faults": faults,
        }
    )


def _shifts(line: Line, unit: int, random: np.random.Generator) -> Iterator[tuple[str, float]]:
    for name in Quantities.model_fields:
        own = line.unit_scatter.get(name, 0.0) * float(random.standard_normal())
        planted = sum(event.shift(unit) for event in line.events if event.quantity == name)
        yield name, own + planted


def _shifted(graded: Graded, shift: float) -> Graded:
    """Return a quantity moved by the same amount on every key; one that is absent (0) stays absent."""
    moved = {"bass": graded.bass + shift, "treble": graded.treble + shift} if graded.bass or graded.treble else {}
    if graded.from_key_value:
        moved["from_key_value"] = graded.from_key_value + shift
    return graded.model_copy(update=moved)
