"""Published data, read from tests/truths/statistics."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

FOLDER = Path(__file__).parents[2] / "truths" / "statistics"


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / name)


def told(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))


def column(name: str, which: str = "y") -> NDArray[np.float64]:
    return table(name)[which].to_numpy(np.float64)
