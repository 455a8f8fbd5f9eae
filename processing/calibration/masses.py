"""Reference masses: what their certificates or classes say, and the force with which a stack of them pushes.

How it works: F = m_c g (1 - 1.2/8000) / (1 - 1.2/rho) (1 - rho_air/rho) cos(tilt), summed over the stack. All inputs of
all steps (each mass, each density, air, gravity, tilt) stand in one vector; the forces' covariance is J U J', so steps
that share a mass, and all steps through air and gravity, are correlated as they must be.
Sources: conventional mass and class limits: OIML R 111-1 (D 28 for the definition); propagation: GUM 5.2.2, F.1.2.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import pi, sqrt
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from processing.calibration.errors import MalformedMassList, UnknownReference
from processing.calibration.gravity import Gravity
from processing.calibration.settings import Surroundings
from processing.calibration.toml_place import in_words, line_below_heading
from processing.stages import FloatArray, read_only

LIMITS_FILE = Path(__file__).parent / "data" / "oiml_r111_mpe.csv"
CONVENTIONAL_AIR, CONVENTIONAL_DENSITY = 1.2, 8000.0
"""kg/m3, at which conventional mass is defined."""

MassClass = Literal["E2", "F1", "F2", "M1", "M2", "M3"]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class _Closed(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Mass(_Closed):
    """One reference mass: by its certificate (both values), or by its class."""

    name: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[^;]+$")]
    """Without a semicolon: that is what stands between names in files of readings."""
    nominal_g: Positive
    conventional_g: Positive | None = None
    """Conventional mass of the certificate; None: the nominal value."""
    expanded_uncertainty_mg: Positive | None = None
    k: Annotated[float, Field(ge=1.0, le=4.0)] = 2.0
    """Coverage factor of the certificate's uncertainty."""
    oiml_class: MassClass | None = None
    density_kg_per_m3: Annotated[float, Field(ge=1000.0, le=25000.0)] = 8000.0
    density_u_kg_per_m3: Annotated[float, Field(ge=0.0, le=2000.0)] = 200.0
    """From cast iron's paint to brass; counts only as far as the air is not at 1.2 kg/m3."""

    @model_validator(mode="after")
    def _can_be_relied_on(self) -> Mass:
        if (self.conventional_g is None) != (self.expanded_uncertainty_mg is None):
            raise ValueError("a certificate has both: give conventional_g and expanded_uncertainty_mg, or neither")
        if self.expanded_uncertainty_mg is None and self.oiml_class is None:
            raise ValueError("give its certificate (conventional_g, expanded_uncertainty_mg) or its oiml_class")
        if self.oiml_class is not None and self.nominal_g not in oiml_limits_mg():
            known = ", ".join(f"{nominal:g}" for nominal in oiml_limits_mg())
            raise ValueError(
                f"no class limit for {self.nominal_g:g} g is known here (only {known}); give its certificate"
            )
        if self.conventional_g is not None and abs(self.conventional_g / self.nominal_g - 1.0) > 0.05:
            raise ValueError(f"{self.conventional_g:g} g is no mass of nominally {self.nominal_g:g} g; is it a slip?")
        return self

    @property
    def mass_g(self) -> float:
        """Conventional mass to reckon with."""
        return self.nominal_g if self.conventional_g is None else self.conventional_g

    @property
    def u_mg(self) -> float:
        """Standard uncertainty: the certificate's over k; else the class's limit as a rectangle (GUM 4.3.7)."""
        if self.expanded_uncertainty_mg is not None:
            return self.expanded_uncertainty_mg / self.k
        assert self.oiml_class is not None  # the validator has seen to it
        return oiml_limits_mg()[self.nominal_g][self.oiml_class] / sqrt(3.0)


class MassList(_Closed):
    """The masses of a bench."""

    certificate: str = "not stated"
    """Where the values come from, with date; goes into the record."""
    correlation: Annotated[float, Field(ge=0.0, le=1.0)] = 1.0
    """Between errors of two masses: weighed against one reference they err alike, the cautious assumption."""
    masses: Annotated[tuple[Mass, ...], Field(min_length=1, strict=False)]

    @model_validator(mode="after")
    def _names_differ(self) -> MassList:
        names = [mass.name for mass in self.masses]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two masses are called {twice[0]!r}; mark one, for example with a dot")
        return self

    def place(self, name: str) -> int:
        """Return where in the list a mass stands. Raises UnknownReference."""
        names = [mass.name for mass in self.masses]
        if name not in names:
            raise UnknownReference("mass", name, names)
        return names.index(name)


@cache
def oiml_limits_mg() -> dict[float, dict[str, float]]:
    """Return the maximum permissible errors by nominal mass in g and class (OIML R 111-1; M2, M3 from memory)."""
    lines = [line for line in LIMITS_FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    classes = [name.removesuffix("_mg") for name in lines[0].split(",")[1:]]
    rows = [[float(cell) for cell in line.split(",")] for line in lines[1:]]
    return {row[0]: dict(zip(classes, row[1:], strict=True)) for row in rows}


def load_mass_list(path: Path) -> MassList:
    """Return the mass list in a TOML file. Raises MalformedMassList with file, line and key."""
    if not path.is_file():
        raise MalformedMassList(path, None, None, "no such file; give the path of a mass list in TOML")
    try:
        return parse_mass_list(path.read_text(encoding="utf-8"), path)
    except UnicodeDecodeError as fault:
        raise MalformedMassList(path, None, None, "it is no UTF-8 text, as TOML must be") from fault


def parse_mass_list(text: str, path: Path | str) -> MassList:
    """Return the mass list in a TOML text. path: what to call it in errors. Raises MalformedMassList."""
    try:
        return MassList.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:  # its text names line and column already
        raise MalformedMassList(path, None, None, str(fault)) from fault
    except ValidationError as fault:
        # a misspelt key comes first: the one it stands for is missing for that reason only
        first = min(fault.errors(), key=lambda error: error["type"] != "extra_forbidden")
        key, why = first["loc"], WORDS.get(first["type"], first["msg"].removeprefix("Value error, "))
        raise MalformedMassList(path, line_below_heading(text, "[[masses]]", key), in_words(key), why) from fault


WORDS = {"missing": "is missing", "extra_forbidden": "a mass list has no such key; is it misspelt?"}


@dataclass(frozen=True, slots=True, eq=False)
class StackForces:
    """Forces of S stacks, in N, and their covariance in N^2, arrays (S,) and (S, S)."""

    force_newton: FloatArray
    covariance_newton2: FloatArray

    def __post_init__(self) -> None:
        read_only(self.force_newton, self.covariance_newton2)

    @property
    def u_newton(self) -> FloatArray:
        """Standard uncertainty of each, (S,)."""
        u: FloatArray = np.sqrt(np.diag(self.covariance_newton2))
        return u


def stack_forces(
    stacks: Sequence[Sequence[str]], masses: MassList, gravity: Gravity, surroundings: Surroundings | None = None
) -> StackForces:
    """Return the downward force of each stack of masses, given by their names; an empty stack is no force.

    Raises UnknownReference for a name that is not in the list.
    """
    around = surroundings or Surroundings()
    lies = np.zeros((len(stacks), len(masses.masses)))
    for row, stack in enumerate(stacks):
        for name in stack:
            lies[row, masses.place(name)] += 1.0
    mass_kg = np.array([mass.mass_g for mass in masses.masses]) * 1e-3
    rho = np.array([mass.density_kg_per_m3 for mass in masses.masses])
    air, (upright, u_upright) = around.air_density_kg_per_m3, upright_share(around.tilt_limit_deg)
    per_kg = gravity.m_per_s2 * upright * buoyancy_factor(rho, air)
    force = lies @ (mass_kg * per_kg)
    shared = np.column_stack(
        (
            force * gravity.u_m_per_s2 / gravity.m_per_s2,
            force * u_upright / upright,
            lies
            @ (mass_kg * gravity.m_per_s2 * _factor_by_air(rho))
            * air
            * around.air_density_limit_share
            / sqrt(3.0),
        )
    )
    by_mass = lies * per_kg * np.array([mass.u_mg for mass in masses.masses]) * 1e-6
    by_density = (
        lies
        * (mass_kg * gravity.m_per_s2 * _factor_by_density(rho, air))
        * np.array([mass.density_u_kg_per_m3 for mass in masses.masses])
    )
    together, apart = masses.correlation, 1.0 - masses.correlation
    covariance = shared @ shared.T + by_density @ by_density.T + apart * (by_mass @ by_mass.T)
    covariance += together * np.outer(by_mass.sum(axis=1), by_mass.sum(axis=1))
    return StackForces(force, covariance)


def buoyancy_factor(density_kg_per_m3: FloatArray, air_kg_per_m3: float) -> FloatArray:
    """Return F / (m_c g) of masses of these densities in this air; 0.99985 exactly for 8000 in 1.2 kg/m3."""
    in_conventional_air = 1.0 - CONVENTIONAL_AIR / density_kg_per_m3
    factor: FloatArray = (
        (1.0 - CONVENTIONAL_AIR / CONVENTIONAL_DENSITY)
        / in_conventional_air
        * (1.0 - air_kg_per_m3 / density_kg_per_m3)
    )
    return factor


def _factor_by_air(rho: FloatArray) -> FloatArray:
    slope: FloatArray = -(1.0 - CONVENTIONAL_AIR / CONVENTIONAL_DENSITY) / (rho - CONVENTIONAL_AIR)
    return slope


def _factor_by_density(rho: FloatArray, air: float) -> FloatArray:
    slope: FloatArray = (
        (1.0 - CONVENTIONAL_AIR / CONVENTIONAL_DENSITY) * (air - CONVENTIONAL_AIR) / (rho - CONVENTIONAL_AIR) ** 2
    )
    return slope


def upright_share(limit_deg: float) -> tuple[float, float]:
    """Return mean and standard deviation of cos(tilt), for a tilt that is anywhere within plus or minus the limit.

    Source: closed form to second order; E[t^2/2] = l^2/6, Var[t^2/2] = l^4/45 for t uniform on [-l, l].
    """
    limit = limit_deg * pi / 180.0
    return 1.0 - limit**2 / 6.0, limit**2 / sqrt(45.0)
