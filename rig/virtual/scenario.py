"""A keyboard of 88 virtual keys from one seeded TOML file.

How it works: each quantity of the mechanism is graded from A0 to C8 along a straight line, may differ on sharps, in
the middle octaves or from one key upward, and scatters a little from key to key. Then the faults named in the file are
put in, each by one function. The same file and seed give the same keyboard.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from rig.errors import MalformedScenario
from rig.virtual.elements import DamperSpec, FeltSpec, LetOffSpec
from rig.virtual.friction import FrictionSpec
from rig.virtual.key_action import ActionSpec
from rig.virtual.notes import NoteSpec

KEY_COUNT = 88
SCENARIO_FOLDER = Path(__file__).parent / "scenarios"


def is_sharp(key_number: int) -> bool:
    """Tell sharps from naturals. key_number: 1 (A0) .. 88 (C8); source: MIDI 1.0, note = key number + 20.

    >>> [number for number in range(1, 14) if is_sharp(number)]
    [2, 5, 7, 10, 12]
    """
    return (key_number + 20) % 12 in (1, 3, 6, 8, 10)


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Graded(_Closed):
    """One quantity over the keyboard, in the unit of the quantity's name."""

    bass: float
    treble: float
    scatter: float = 0.0
    """Standard deviation from key to key."""
    sharp_extra: float = 0.0
    middle_extra: float = 0.0
    """Added around the middle (key 46), fading out over two octaves either side."""
    from_key: int = KEY_COUNT + 1
    from_key_value: float = 0.0
    """From this key upward the quantity has this value instead; what is 0 there does not scatter."""

    def of(self, number: int, random: np.random.Generator) -> float:
        """Return the value for one key; always draws one random number, so that keys do not shift each other."""
        scattered = self.scatter * random.standard_normal()
        if number >= self.from_key:
            return float(self.from_key_value + scattered) if self.from_key_value else 0.0
        hump = max(0.0, 1.0 - ((number - 46) / 24.0) ** 2) * self.middle_extra
        line = self.bass + (self.treble - self.bass) * (number - 1) / (KEY_COUNT - 1)
        return float(line + hump + self.sharp_extra * is_sharp(number) + scattered)


class Quantities(_Closed):
    """Everything that is graded; all places are millimetres of the key's own way."""

    effective_mass_kg: Graded
    balance_newton: Graded
    spring_newton_per_mm: Graded
    friction_newton: Graded
    break_away_newton: Graded
    damper_start_mm: Graded
    damper_newton: Graded
    letoff_crest_mm: Graded
    letoff_newton: Graded
    letoff_rise_mm: Graded
    letoff_fall_mm: Graded
    letoff_return_newton: Graded
    bed_start_mm: Graded
    bed_stiffness: Graded
    note_on_mm: Graded
    note_off_mm: Graded
    note_rearm_mm: Graded
    note_latency_s: Graded


FaultKind = Literal["sticky", "gritty", "no_notch", "weak_return", "late_contact", "stuck_note"]


class Fault(_Closed):
    """A key that is wrong on purpose."""

    key: int
    kind: FaultKind


class Midi(_Closed):
    """The manner of the keyboard's MIDI messages; see NoteSpec."""

    running_status: bool = False
    velocity_zero_off: bool = False
    high_resolution: bool = False


class Scenario(_Closed):
    """One scenario file."""

    name: str
    title: str
    seed: int
    quantities: Quantities
    midi: Midi = Midi()
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KeySpec:
    """One key of the keyboard as it really is."""

    number: int
    action: ActionSpec
    note: NoteSpec
    surface_mm: float
    """Where the plunger meets the resting key, from the top of the stage."""
    fault: FaultKind | None = None


def load_scenario(name_or_path: str) -> Scenario:
    """Return a built-in scenario by name (`fern`, `moss`) or one from a TOML file.

    Raises MalformedScenario if there is no such file or it does not hold a scenario.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        path = SCENARIO_FOLDER / f"{name_or_path}.toml"
    if not path.is_file():
        known = ", ".join(sorted(file.stem for file in SCENARIO_FOLDER.glob("*.toml")))
        raise MalformedScenario(f"no scenario {name_or_path!r}; built in are {known}; or give the path of a .toml file")
    try:
        return Scenario.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except tomllib.TOMLDecodeError as fault:
        raise MalformedScenario(f"{path}: {fault}") from fault
    except ValidationError as fault:
        first = fault.errors()[0]
        raise MalformedScenario(f"{path}: {'.'.join(map(str, first['loc']))}: {first['msg']}") from fault


def keyboard_of(scenario: Scenario) -> tuple[KeySpec, ...]:
    """Return the 88 keys of a scenario, A0 first, faults put in."""
    faults = {fault.key: fault.kind for fault in scenario.faults}
    random = np.random.default_rng(scenario.seed)
    keys = (_key(scenario, number, random) for number in range(1, KEY_COUNT + 1))
    return tuple(_put_in(faults.get(key.number), key) for key in keys)


def _key(scenario: Scenario, number: int, random: np.random.Generator) -> KeySpec:
    value = {name: getattr(scenario.quantities, name).of(number, random) for name in Quantities.model_fields}
    grips = max(value["friction_newton"], 0.0)
    action = ActionSpec(
        effective_mass_kg=value["effective_mass_kg"],
        balance_newton=value["balance_newton"],
        spring_newton_per_mm=value["spring_newton_per_mm"],
        friction=FrictionSpec(coulomb_newton=grips, static_newton=1.15 * grips),
        break_away_newton=value["break_away_newton"],
        break_away_mm=0.12,
        damper=DamperSpec(start_mm=value["damper_start_mm"], width_mm=0.6, height_newton=value["damper_newton"]),
        letoff=LetOffSpec(
            crest_mm=value["letoff_crest_mm"],
            height_newton=value["letoff_newton"],
            rise_mm=value["letoff_rise_mm"],
            fall_mm=value["letoff_fall_mm"],
            return_newton=value["letoff_return_newton"],
        ),
        bed=FeltSpec(start_mm=value["bed_start_mm"], stiffness=value["bed_stiffness"]),
        grit_phases=tuple(random.uniform(0.0, 6.28, 3)),
    )
    note = NoteSpec(
        on_mm=value["note_on_mm"],
        off_mm=value["note_off_mm"],
        rearm_mm=value["note_rearm_mm"],
        latency_s=value["note_latency_s"],
        **scenario.midi.model_dump(),
    )
    return KeySpec(number=number, action=action, note=note, surface_mm=float(3.0 + 0.1 * random.standard_normal()))


def _put_in(fault: FaultKind | None, key: KeySpec) -> KeySpec:
    return key if fault is None else replace(FAULTS[fault](key), fault=fault)


def _sticky(key: KeySpec) -> KeySpec:
    grips = 1.9 * key.action.friction.coulomb_newton
    friction = replace(key.action.friction, coulomb_newton=grips, static_newton=1.4 * grips)
    return replace(key, action=replace(key.action, friction=friction, break_away_newton=0.25))


def _gritty(key: KeySpec) -> KeySpec:
    return replace(key, action=replace(key.action, grit_share=0.6))


def _no_notch(key: KeySpec) -> KeySpec:
    letoff = replace(key.action.letoff, height_newton=0.0, return_newton=0.0)
    return replace(key, action=replace(key.action, letoff=letoff))


def _weak_return(key: KeySpec) -> KeySpec:
    balance = key.action.friction.coulomb_newton + 0.02
    return replace(key, action=replace(key.action, balance_newton=balance))


def _late_contact(key: KeySpec) -> KeySpec:
    return replace(key, note=replace(key.note, on_mm=key.note.on_mm + 0.6))


def _stuck_note(key: KeySpec) -> KeySpec:
    return replace(key, note=replace(key.note, stuck=True))


FAULTS = {
    "sticky": _sticky,
    "gritty": _gritty,
    "no_notch": _no_notch,
    "weak_return": _weak_return,
    "late_contact": _late_contact,
    "stuck_note": _stuck_note,
}
