"""Published data, read from tests/truths/limits."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd

FOLDER = Path(__file__).parents[2] / "truths" / "limits"


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / name)


def told(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))
