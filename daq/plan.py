"""What is recorded in one sitting: which keys, in which order, with which programmes.

How it works: a plan is made by the command line or read from TOML; resolved, it is a list of visits, one a key, each
with the programmes to be carried out there one after the other. It is kept with the recording as its first entry of
the diary, so that an interrupted sitting can be resumed without being told again.
"""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from daq.errors import MalformedPlan
from daq.programme import Closed, Programme, load_programme, read_toml
from recordings.errors import UnknownKey
from recordings.keys import Key, parse_keys

Order = Literal["left to right", "right to left", "shuffled"]
ORDERS: tuple[Order, ...] = ("left to right", "right to left", "shuffled")


@dataclass(frozen=True, slots=True)
class Visit:
    """One key and what is done to it."""

    key: Key
    programmes: tuple[Programme, ...]


class PlanEntry(Closed):
    """Some keys and a programme for them."""

    keys: str
    """`C4`, `A0..C8`, `naturals`, `sharps`, `all`, lists with commas."""
    programme: str = "slow"
    """A built-in name or the path of a .toml file, seen from the plan's own folder."""


class PlanFile(Closed):
    """A survey plan as people write it."""

    order: Order = "left to right"
    seed: int = 1
    """For the shuffled order: the same seed gives the same order."""
    visit: Annotated[tuple[PlanEntry, ...], Field(min_length=1)]


def plan_visits(
    entries: tuple[tuple[tuple[Key, ...], Programme], ...], *, order: Order = "left to right", seed: int = 1
) -> tuple[Visit, ...]:
    """Return one visit a key; a key named in several entries gets their programmes in the order of the entries."""
    of_key: dict[Key, list[Programme]] = {}
    for keys, programme in entries:
        for key in keys:
            of_key.setdefault(key, []).append(programme)
    keys_in_order = sorted(of_key, reverse=order == "right to left")
    if order == "shuffled":
        random.Random(seed).shuffle(keys_in_order)
    return tuple(Visit(key, tuple(of_key[key])) for key in keys_in_order)


def read_plan(path: Path) -> tuple[Visit, ...]:
    """Return the visits of a plan file. Raises MalformedPlan naming file and place."""
    plan = read_toml(path, PlanFile)
    entries = []
    for number, entry in enumerate(plan.visit):
        programme = entry.programme
        if programme.endswith(".toml"):
            programme = str(path.parent / programme)
        try:
            entries.append((parse_keys(entry.keys), load_programme(programme)))
        except UnknownKey as fault:
            raise MalformedPlan(str(path), f"visit {number + 1}, keys: {fault}") from fault
    return plan_visits(tuple(entries), order=plan.order, seed=plan.seed)


def describe(visits: tuple[Visit, ...]) -> str:
    """Return what is done in one line, for the recording."""
    programmes = {programme.name: programme for visit in visits for programme in visit.programmes}
    return "; ".join(programme.describe() for programme in programmes.values())


def visits_as_json(visits: tuple[Visit, ...], *, by_hand: bool) -> str:
    """Return a plan as text for the recording's diary."""
    programmes = {programme.name: programme.model_dump(mode="json") for v in visits for programme in v.programmes}
    told = [[visit.key.name, [programme.name for programme in visit.programmes]] for visit in visits]
    return json.dumps({"by_hand": by_hand, "programmes": programmes, "visits": told})


def visits_from_json(text: str) -> tuple[tuple[Visit, ...], bool]:
    """Return the plan that `visits_as_json` wrote, and whether it is by hand."""
    told: dict[str, Any] = json.loads(text)
    programmes = {name: Programme.model_validate(body) for name, body in told["programmes"].items()}
    visits = tuple(
        Visit(Key.from_name(key), tuple(programmes[name] for name in names)) for key, names in told["visits"]
    )
    return visits, bool(told["by_hand"])
