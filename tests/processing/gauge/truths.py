"""Published studies of `tests/truths/gauge/`."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

from processing.gauge.readings import Crossed, Reading, crossed_of

FOLDER = Path(__file__).parents[2] / "truths" / "gauge"


def told(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))


def rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def aiag() -> Crossed:
    return crossed_of(Reading(r["part"], r["operator"], r["trial"], float(r["value"])) for r in rows("aiag_grr.csv"))


def glucose() -> Crossed:
    seen: dict[tuple[str, str], int] = {}
    readings = []
    for row in rows("e691_glucose.csv"):
        place = row["material"], row["lab"]
        seen[place] = seen.get(place, 0) + 1
        readings.append(Reading("ABCDE"[int(row["material"]) - 1], row["lab"], str(seen[place]), float(row["glucose"])))
    return crossed_of(readings)
