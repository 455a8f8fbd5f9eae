"""A measured recording and its keys, for notebooks: numbers, curves, tables, pictures."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from keyplumb.figures import axes_or_new, draw_curve, draw_keyboard, explain
from processing.calibration_status import marked
from processing.display import parse_units
from processing.keyboard import KeyboardResult
from processing.sitting import Sitting
from processing.sitting_words import drift_sentences
from processing.stages import Curve, FloatArray, KeyResult, Measurement
from processing.views import measure_view, tidy_table, wide_table
from recordings.errors import UnknownKey
from recordings.keys import Key
from recordings.types import Header

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from processing.statistics.keyboard_statistics import KeyboardStatistics


FEW_KEYS = 12
"""So many are named; more are counted."""


@dataclass(frozen=True)
class MeasuredCurve:
    """The mean curve of a key: force over way from touch on, an even grid. Arrays (N,), read-only.

    >>> import keyplumb
    >>> curve = keyplumb.open("fern.h5").keys["C4"].curve
    >>> f"{curve.down_newton[curve.way_mm > 4.0][0]:.2f} N"
    '0.50 N'
    >>> curve.plot(units="N,mm").get_xlabel()
    'displacement from touch (mm)'
    """

    data: Curve
    header: Header
    """Of the recording it is from."""

    @property
    def way_mm(self) -> FloatArray:
        """Displacement from touch, mm, downward."""
        return self.data.way_mm

    @property
    def down_newton(self) -> FloatArray:
        """Force on the way down, N."""
        return self.data.down_newton

    @property
    def up_newton(self) -> FloatArray | None:
        """Force on the way up, N; None: the key was not let up."""
        return self.data.up_newton

    @property
    def down_u_newton(self) -> FloatArray:
        """Standard error of `down_newton`, N."""
        return self.data.down_u_newton

    @property
    def up_u_newton(self) -> FloatArray | None:
        """Standard error of `up_newton`, N."""
        return self.data.up_u_newton

    def frame(self) -> pd.DataFrame:
        """Return one row a place: way_mm, down_N, down_N_u, up_N, up_N_u, gap (only drawn across)."""
        from processing.export.tables import curve_frame

        return curve_frame(self.data)

    def plot(self, ax: Axes | None = None, *, units: str = "gf,mm", label: str = "", colour: str | None = None) -> Axes:
        """Draw both ways with 95 % bands, on axes of your own or on a new figure; returns the axes."""
        drawn_on = axes_or_new(ax)
        draw_curve(drawn_on, self.data, marked(parse_units(units), self.header), label=label, colour=colour)
        return drawn_on


@dataclass(frozen=True)
class MeasuredKey:
    """One key's results.

    >>> import keyplumb
    >>> key = keyplumb.open("fern.h5").keys["C4"]
    >>> down = key["down_weight"]
    >>> f"{down.value:.2f} {down.unit}", down.u < 0.001, down.flags
    ('0.50 N', True, ('uncalibrated',))
    >>> key["trigger_position"].value is None, key["trigger_position"].reason  # missing is None, with its reason
    (True, 'no note events were recorded')
    """

    result: KeyResult
    header: Header
    """Of the recording it is from."""

    def __getitem__(self, name: str) -> Measurement:
        """Return one number with its unit, uncertainty, flags and budget. Raises KeyError with the names there are."""
        known = {measurement.name: measurement for measurement in self.result.measurements}
        if name not in known:
            raise KeyError(f"{name} is no measurand; there are {', '.join(known)}")
        return known[name]

    @property
    def curve(self) -> MeasuredCurve | None:
        """The mean curve, None if nothing could be measured."""
        return None if self.result.curve is None else MeasuredCurve(self.result.curve, self.header)

    @property
    def values(self) -> dict[str, float | None]:
        """Every measurand in N, mm, mJ; None where it is missing."""
        return {measurement.name: measurement.value for measurement in self.result.measurements}

    def plot(self, ax: Axes | None = None, *, units: str = "gf,mm") -> Axes:
        """Draw the curve with its features; on axes of your own, or on a new figure. Returns the axes."""
        from processing.report.curves import draw_key

        drawn_on = axes_or_new(ax)
        draw_key(drawn_on, self.result, marked(parse_units(units), self.header))
        explain(drawn_on, columns=3)  # low enough to stand above the plateau
        return drawn_on


class KeysByName(dict[str, MeasuredKey]):
    """Keys by name; a name that is none is told with what would be one, and another name of a key (Db4, 42) does."""

    def __missing__(self, name: str) -> MeasuredKey:
        """Return the key that is also called so. Raises KeyError with the reason."""
        try:
            known = Key.from_name(name)
        except UnknownKey as fault:
            raise KeyError(str(fault)) from fault
        if known.name in self:
            return self[known.name]
        held = f"it holds {', '.join(self)}" if len(self) <= FEW_KEYS else f"it holds {len(self)} others"
        raise KeyError(f"the recording holds no {name}; {held}")


class Numbers(ABC):
    """All numbers of a recording, however it came here."""

    @property
    @abstractmethod
    def result(self) -> KeyboardResult:
        """Everything that was found, as `processing/keyboard.py` has it."""

    @cached_property
    def keys(self) -> dict[str, MeasuredKey]:
        """Keys by name, A0 first."""
        return KeysByName((key.key.name, MeasuredKey(key, self.result.header)) for key in self.result.keys)

    def frame(self) -> pd.DataFrame:
        """Return one row a key, indexed by its name, with everything: down_weight_N, down_weight_N_u (standard
        uncertainty), down_weight_N_U95 (half of the 95 % interval), down_weight_dof, _flags, _reason, and so on.

        >>> import keyplumb
        >>> frame = keyplumb.open("fern.h5").frame()
        >>> frame.loc["C4", ["down_weight_N", "friction_N"]].astype(float).round(3).tolist()
        [0.5, 0.11]
        """
        from processing.export.tables import keys_table

        return keys_table(self.result).set_index("key")

    def curves(self) -> pd.DataFrame:
        """Return one row a key and place of its mean curve: key, number, way_mm, down_N, down_N_u, up_N, up_N_u."""
        import pandas as pd

        from processing.export.tables import curve_tables

        pieces = list(curve_tables(self.result))
        return pd.concat(pieces, ignore_index=True) if pieces else pd.DataFrame()

    def table(self) -> pd.DataFrame:
        """Return one row per key with values alone, units in the column names (`down_weight_N`)."""
        return wide_table(self.result)

    def tidy(self) -> pd.DataFrame:
        """Return one row per key and measurand, with uncertainty, flags and the reason where it is missing."""
        return tidy_table(self.result)

    def view(self) -> dict[str, Any]:
        """Return what `keyplumb measure --json` prints, as plain data."""
        return measure_view(self.result, self._statistics)

    def odd_keys(self, *, units: str = "gf,mm") -> dict[str, str]:
        """Return the keys that stand out, with the reasons in words."""
        from processing.summary import odd_key_sentences

        return dict(odd_key_sentences(self.result, parse_units(units)))

    @cached_property
    def _statistics(self) -> KeyboardStatistics:
        from processing.statistics.keyboard_statistics import describe_keyboard

        return describe_keyboard(self.result)

    def statistics(self) -> KeyboardStatistics:
        """Return medians, trends, evenness, steps and keys that stand out, naturals and sharps apart.

        >>> import keyplumb
        >>> down = keyplumb.open("fern.h5").statistics().of("down_weight", "natural")
        >>> f"{down.median:.3f} {down.unit} on {len(down.numbers)} keys"
        '0.500 N on 7 keys'
        """
        return self._statistics

    def trends(self) -> pd.DataFrame:
        """Return the statistics as one row a measurand and colour: at A0, at C8, per octave, evenness, who is odd."""
        from processing.export.comparison_tables import statistics_table

        return statistics_table(self._statistics)

    def plot(self, measurand: str, ax: Axes | None = None, *, units: str = "gf,mm", label: str = "") -> Axes:
        """Draw a measurand over the keyboard with intervals and trends; returns the axes.

        Raises KeyError if it was measured on no key.

        >>> import keyplumb
        >>> keyplumb.open("fern.h5").plot("key_dip").get_ylabel()
        'Key dip (mm)'
        """
        drawn_on = axes_or_new(ax)
        shown = marked(parse_units(units), self.result.header)
        draw_keyboard(drawn_on, self._statistics, measurand, shown, label=label)
        return drawn_on


class Measured(Numbers):
    """A measured recording."""

    def __init__(self, result: KeyboardResult, sitting: Sitting | None = None) -> None:
        self._result = result
        self.sitting = sitting
        """What check keys told of drift, which is taken out; None: there were none."""

    def drift_sentences(self, *, units: str = "gf,mm") -> list[str]:
        """Return what drifted over the sitting, in words; empty without check keys."""
        return drift_sentences(self.sitting, self.result.header.run.instrument, parse_units(units))

    @property
    def result(self) -> KeyboardResult:
        """Everything that was found."""
        return self._result
