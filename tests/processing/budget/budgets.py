"""Budgets for tests: lines with defaults, named a, b, c, ..."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from processing.budget.lines import Budget, Correlation, Distribution, Line

GUM = Path(__file__).parents[2] / "truths" / "gum"


def a_line(name: str = "a", u: float = 1.0, **other: Any) -> Line:
    told: dict[str, Any] = {"kind": "B", "distribution": "normal", "unit": "1", "dof": np.inf} | other
    return Line(name=name, u=u, **told)


def a_budget(
    us: Sequence[float],
    *,
    value: float = 0.0,
    dofs: Sequence[float] | None = None,
    sensitivities: Sequence[float] | None = None,
    r: Sequence[tuple[int, int, float]] = (),
    distribution: Distribution = "normal",
) -> Budget:
    names = "abcdefgh"[: len(us)]
    dofs = dofs or [np.inf] * len(us)
    slopes = sensitivities or [1.0] * len(us)
    lines = tuple(
        a_line(name, u, dof=dof, sensitivity=c, distribution=distribution)
        for name, u, dof, c in zip(names, us, dofs, slopes, strict=True)
    )
    pairs = tuple(Correlation(names[i], names[j], value) for i, j, value in r)
    return Budget(measurand="y", unit="1", value=value, lines=lines, correlations=pairs)


def published(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((GUM / name).read_text())
    return found


def table(name: str) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.loadtxt(GUM / name, delimiter=",", skiprows=1)
