"""Tables of a recording for other programs: units and uncertainties in the columns' names, N, mm, s, mJ always.

How it works: `NAME_UNIT` is a value, `NAME_UNIT_u` its standard uncertainty, `NAME_UNIT_U95` the half-width of its 95 %
interval, `NAME_dof` its degrees of freedom, `NAME_flags` what must be known beside it, `NAME_reason` why it is missing.
What is missing is an empty cell (NaN, null), never 0. Every table names the instrument and says in `calibration`
whether its forces are calibrated.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from processing.calibrate import displacement_mm, force_newton
from processing.calibration_status import calibration_status
from processing.display import Units
from processing.keyboard import KeyboardResult
from processing.settings import Settings
from processing.stages import Curve, FloatArray, KeyResult, Measurement
from processing.summary import odd_key_sentences
from processing.verdicts import notch_decides, note_order, sustain
from processing.views import column_name, tidy_table
from recordings.types import Calibration, Header, KeyRecording

if TYPE_CHECKING:
    import pandas as pd

SI = Units("N", "mm")
NUMBER = {"value": "", "u": "_u", "expanded": "_U95"}


def key_tables(result: KeyboardResult) -> Iterator[pd.DataFrame]:
    """Yield `keys_table`, in one piece."""
    yield keys_table(result)


def number_tables(result: KeyboardResult) -> Iterator[pd.DataFrame]:
    """Yield one row a number, in one piece: key, measurand, value, unit, u, U95, dof, flags, reason."""
    table = tidy_table(result)
    numbers = ["value", "u", "U95", "dof"]
    yield _told(table.astype(dict.fromkeys(numbers, np.float64)), result.header)


def keys_table(result: KeyboardResult) -> pd.DataFrame:
    """Return one row a key with all numbers of it, verdicts, the codes of its findings and why it stands out."""
    import pandas as pd

    odd = dict(odd_key_sentences(result, SI))
    return _told(pd.DataFrame([_key_row(key, odd, result.settings) for key in result.keys]), result.header)


def _key_row(key: KeyResult, odd: dict[str, str], settings: Settings) -> dict[str, Any]:
    row: dict[str, Any] = {
        "key": key.key.name,
        "number": key.key.number,
        "colour": key.key.colour,
        "strokes": key.strokes,
        "letoff": key.letoff,
        "note_order": note_order(key) or "",
        "sustain": sustain(key, settings) or "",
        "notch_decides_weight": notch_decides(key) is not None,
        "findings": " ".join(finding.code for finding in key.findings),
        "stands_out": odd.get(key.key.name, ""),
    }
    for measurement in key.measurements:
        row |= _cells(measurement)
    return row


def _cells(measurement: Measurement) -> dict[str, Any]:
    """Return the six cells of one number."""
    name = column_name(measurement.name, measurement.unit)
    numbers = {name + ending: _or_nan(getattr(measurement, of)) for of, ending in NUMBER.items()}
    return {
        **numbers,
        f"{measurement.name}_dof": _or_nan(measurement.dof),
        f"{measurement.name}_flags": " ".join(measurement.flags),
        f"{measurement.name}_reason": measurement.reason or "",
    }


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def curve_tables(result: KeyboardResult) -> Iterator[pd.DataFrame]:
    """Yield the mean curve of each key that has one: a row a place, forces with their standard errors."""
    for key in result.keys:
        if key.curve is not None:
            yield _told(_with_key(key, curve_frame(key.curve)), result.header)


def stroke_tables(result: KeyboardResult) -> Iterator[pd.DataFrame]:
    """Yield the curves of each key's used strokes, `stroke` counted from 1: a row a place."""
    import pandas as pd

    for key in result.keys:
        if key.stroke_curves:
            frames = [curve_frame(curve).assign(stroke=n) for n, curve in enumerate(key.stroke_curves, 1)]
            yield _told(_with_key(key, pd.concat(frames, ignore_index=True)), result.header)


def curve_frame(curve: Curve) -> pd.DataFrame:
    """Return a curve with a row a place; `gap`: no samples near, only drawn across."""
    import pandas as pd

    return pd.DataFrame(
        {
            "way_mm": curve.way_mm.round(6),
            "down_N": curve.down_newton,
            "down_N_u": curve.down_u_newton,
            "up_N": _or_empty(curve.up_newton, curve),
            "up_N_u": _or_empty(curve.up_u_newton, curve),
            "gap": curve.gap,
        }
    )


def _or_empty(values: FloatArray | None, curve: Curve) -> FloatArray:
    return np.full(len(curve.way_mm), np.nan) if values is None else values


def sample_tables(keys: Iterable[KeyRecording], header: Header, calibration: Calibration) -> Iterator[pd.DataFrame]:
    """Yield every sample of each key as it came, and what its counts mean by the scales alone.

    The force holds the cell's zero and is as late as the cell; the displacement is that of the stage, with the gauge's
    play and what the rig gives under load. calibration: at the room's temperature, as the pipeline takes it.
    """
    import pandas as pd

    for recording in keys:
        trace = recording.trace
        frame = pd.DataFrame(
            {
                "key": recording.key.name,
                "number": recording.key.number,
                "sample_number": trace.sample_number,
                "tick_us": trace.tick_us,
                "force_counts": trace.force_counts,
                "displacement_counts": trace.displacement_counts,
                "force_N": force_newton(trace.force_counts, calibration),
                "displacement_mm": displacement_mm(trace.displacement_counts, calibration),
            }
        )
        yield _told(frame, header)


def _with_key(key: KeyResult, frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame with the key in front, and the stroke next to it where there is one."""
    stroke = {"stroke": frame.pop("stroke")} if "stroke" in frame else {}
    front: dict[str, Any] = {"key": key.key.name, "number": key.key.number, **stroke}
    for place, (name, value) in enumerate(front.items()):
        frame.insert(place, name, value)
    return frame


def _told(frame: pd.DataFrame, header: Header) -> pd.DataFrame:
    """Return a frame with the instrument's name in front and the state of the calibration at the end."""
    frame.insert(0, "instrument", header.run.instrument)
    frame["calibration"] = calibration_status(header)
    return frame.copy()
