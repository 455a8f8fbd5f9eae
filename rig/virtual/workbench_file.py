"""A workbench as its TOML file describes it: reference objects beside the keyboard, and what the sensors really do.

How it works: pydantic checks every key by itself, validators what only shows between keys; a fault is told with file,
line and key. The numbers are the truth behind a rig that states only its nominal scales, so whoever calibrates that
rig can be held against them. Masses and blocks have what a certificate would not tell: their true value.
Sources: force of a mass: definition of conventional mass (OIML R 111-1, D 28) and buoyancy.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from rig.errors import MalformedWorkbench
from rig.profiles.toml_place import line_of_key
from rig.virtual.frame import Frame

WORKBENCH_FOLDER = Path(__file__).parent / "workbenches"
CONVENTIONAL_AIR, CONVENTIONAL_DENSITY = 1.2, 8000.0
"""kg/m3, at which conventional mass is defined."""

Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_.-]{1,20}$")]
"""One word: an operator says it in a line."""
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class MassTruth(_Closed):
    """A reference mass as it really is."""

    name: Name
    nominal_g: Positive
    true_conventional_g: Positive
    density_kg_per_m3: Annotated[float, Field(ge=1000.0, le=25000.0)] = 8000.0

    def force_newton(self, gravity_m_per_s2: float, air_density_kg_per_m3: float) -> float:
        """Return how hard it pushes in this air: m_c g (1 - 1.2/8000) / (1 - 1.2/rho) (1 - rho_air/rho)."""
        rho = self.density_kg_per_m3
        true_kg = (
            self.true_conventional_g
            * 1e-3
            * (1.0 - CONVENTIONAL_AIR / CONVENTIONAL_DENSITY)
            / (1.0 - CONVENTIONAL_AIR / rho)
        )
        return true_kg * gravity_m_per_s2 * (1.0 - air_density_kg_per_m3 / rho)


class BlockTruth(_Closed):
    """A gauge block as it really is, at the temperature of the bench."""

    name: Name
    nominal_mm: Positive
    true_mm: Positive


class StopTruth(_Closed):
    """A stop that does not give."""

    surface_mm: Positive
    """From the top of the stage, as all places here."""


class SpringTruth(_Closed):
    """A steel spring: straight, without damping."""

    surface_mm: Positive
    stiffness_newton_per_mm: Annotated[float, Field(ge=0.05, le=20.0)]


class ForceTruth(_Closed):
    """What the cell really does: true force = v (1 + scale_error) + quadratic v^2 for v nominal newtons shown."""

    scale_error: Annotated[float, Field(ge=-0.2, le=0.2)] = 0.0
    """As a share."""
    quadratic_per_newton: Annotated[float, Field(ge=-0.001, le=0.001)] = 0.0
    hysteresis_newton: Annotated[float, Field(ge=0, le=0.1)] = 0.0
    """The cell shows this much too little while the load rises, too much while it falls."""
    hysteresis_way_newton: Positive = 1.0
    """So much must the load turn back until the cell has changed from one to the other."""
    creep_share: Annotated[float, Field(ge=0, le=0.05)] = 0.0
    """Of the load, by which the reading goes on rising under a load that stays."""
    creep_s: Positive = 10.0
    """Time constant of that."""
    zero_newton: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.05
    """Shown without load when the rig starts, nominal newtons."""
    drift_newton_per_s: Annotated[float, Field(ge=-0.1, le=0.1)] = 0.00005
    skew_us: Annotated[float, Field(ge=0, le=100_000)] = 0.0
    """So much later is the force than the rig's own Channel says; any number, not only whole samples."""

    @model_validator(mode="after")
    def _changes_over_within_reason(self) -> ForceTruth:
        if 2.0 * self.hysteresis_newton >= self.hysteresis_way_newton:
            raise ValueError("hysteresis_way_newton must be more than twice hysteresis_newton")
        return self


class DisplacementTruth(_Closed):
    """What the gauge really does: true way = way shown times (1 + scale_error), less its play."""

    scale_error: Annotated[float, Field(ge=-0.2, le=0.2)] = 0.0
    backlash_mm: Annotated[float, Field(ge=0, le=1.0)] = 0.0
    """The plunger must turn back by so much before the gauge follows: it shows half of it too little on the way down
    and half too much on the way up."""


class FrameTruth(_Closed):
    """What the frame gives: force = stiffness p + stiffening p^2 for p millimetres."""

    stiffness_newton_per_mm: Annotated[float, Field(ge=5.0, le=200.0)]
    stiffening_newton_per_mm2: Annotated[float, Field(ge=0, le=2000.0)] = 0.0


class WorkbenchSpec(_Closed):
    """One workbench file."""

    name: Name
    title: str
    gravity_m_per_s2: Annotated[float, Field(ge=9.7, le=9.9)]
    air_density_kg_per_m3: Annotated[float, Field(ge=0.5, le=1.5)] = 1.2
    table_mm: Positive = 22.0
    """Where the table stands, on which blocks lie."""
    force: ForceTruth
    displacement: DisplacementTruth
    frame: FrameTruth
    stop: StopTruth
    spring: SpringTruth
    masses: tuple[MassTruth, ...] = Field(strict=False, min_length=1)
    blocks: tuple[BlockTruth, ...] = Field(strict=False, min_length=1)

    @field_validator("masses", "blocks")
    @classmethod
    def _names_differ(cls, things: Sequence[MassTruth | BlockTruth]) -> Sequence[MassTruth | BlockTruth]:
        names = [thing.name for thing in things]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two of them are called {twice[0]!r}; mark one, for example with a dot")
        return things

    @model_validator(mode="after")
    def _blocks_fit_in(self) -> WorkbenchSpec:
        for block in self.blocks:
            if block.true_mm >= self.table_mm:
                raise ValueError(f"block {block.name} is as high as the table is deep: {self.table_mm:g} mm")
        return self

    def true_frame(self) -> Frame:
        """Return what the frame really gives."""
        return Frame(self.frame.stiffness_newton_per_mm, self.frame.stiffening_newton_per_mm2)

    def pan_newton(self, masses: Sequence[str]) -> float:
        """Return the force of masses by name. Raises KeyError for a name that is not on this bench."""
        there = {mass.name: mass for mass in self.masses}
        return sum(there[name].force_newton(self.gravity_m_per_s2, self.air_density_kg_per_m3) for name in masses)


def load_workbench(name_or_path: str) -> WorkbenchSpec:
    """Return a built-in workbench by name (`tern_lane`), or one from a TOML file (a name that ends in .toml is a path).

    Raises MalformedWorkbench with file, line and key if there is no such file or it does not hold a workbench.
    """
    path = Path(name_or_path)
    if path.suffix != ".toml":
        path = WORKBENCH_FOLDER / f"{name_or_path}.toml"
    if not path.is_file():
        why = "no such workbench; built in is tern_lane; or give the path of a .toml file"
        raise MalformedWorkbench(name_or_path, None, None, why)
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as fault:
        raise MalformedWorkbench(path, None, None, "it is no UTF-8 text, as TOML must be") from fault
    return parse_workbench(text, path)


def parse_workbench(text: str, path: Path | str) -> WorkbenchSpec:
    """Return the workbench in a TOML text. path: what to call it in errors. Raises MalformedWorkbench."""
    try:
        return WorkbenchSpec.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:  # its text names line and column already
        raise MalformedWorkbench(path, None, None, str(fault)) from fault
    except ValidationError as fault:
        # a misspelt key comes first: the one it stands for is missing for that reason only
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        key, why = first["loc"], WORDS.get(first["type"], first["msg"].removeprefix("Value error, "))
        named = ".".join(str(part + 1) if isinstance(part, int) else part for part in key)  # as people count
        raise MalformedWorkbench(path, line_of_key(text, key), named or None, why) from fault


WORDS = {"missing": "is missing", "extra_forbidden": "a workbench has no such key; is it misspelt?"}
