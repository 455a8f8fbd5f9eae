"""Recordings side by side, for notebooks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from keyplumb.figures import axes_or_new, draw_band, draw_differences
from processing.calibration_status import marked
from processing.comparison.band_words import band_sentences
from processing.comparison.sentences import pair_sentences
from processing.comparison.types import Comparison, PairComparison
from processing.comparison.view import compare_view
from processing.display import Units, parse_units
from processing.sitting import Sitting
from processing.sitting_words import drift_sentences

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


def jointly_marked(units: Units, comparison: Comparison) -> Units:
    """Return the reader's units with the mark of the first recording that needs one."""
    each = (marked(units, result.header) for result in comparison.results)
    return next((one for one in each if one.force_mark), units)


@dataclass(frozen=True)
class Compared:
    """Two or more recordings compared, each but the first with the first.

    >>> import keyplumb
    >>> both = keyplumb.compare("fern.h5", "moss.h5")
    >>> print(both.sentences()[0])  # doctest: +ELLIPSIS
    moss needs 10.1... gf uncalibrated more than fern to sink a natural from C4 to B4 ...
    """

    result: Comparison
    """All of it: differences, evenness, bands, as `processing/comparison/types.py` has them."""
    sittings: tuple[Sitting | None, ...]
    """What check keys told of drift over each recording's sitting, which is taken out; None: it has none."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What a reader must know before believing it."""
        return self.result.cautions

    def pair(self, place: int = 0) -> PairComparison:
        """Return one pair: the recording `place + 1` against the first."""
        return self.result.pairs[place]

    def sentences(self, *, units: str = "gf,mm") -> list[str]:
        """Return what was found, in sentences; the weightiest first, then where in the travel curves differ."""
        shown = jointly_marked(parse_units(units), self.result)
        return [
            told for pair in self.result.pairs for told in pair_sentences(pair, shown) + band_sentences(pair, shown)
        ]

    def drift_sentences(self, *, units: str = "gf,mm") -> list[str]:
        """Return what drifted over the sittings, in words; empty without check keys."""
        shown = parse_units(units)
        return [
            told
            for sitting, name in zip(self.sittings, self.result.labels, strict=True)
            for told in drift_sentences(sitting, name, shown)
        ]

    def frame(self) -> pd.DataFrame:
        """Return one row a pair, measurand, colour and region; values in the unit of the row, second less first.

        >>> import keyplumb
        >>> frame = keyplumb.compare("fern.h5", "moss.h5").frame()
        >>> row = frame[(frame.measurand == "down_weight") & (frame.region == "whole")].iloc[0]
        >>> f"{row.difference:.3f} {row.unit}, {row.verdict}"
        '0.100 N, different'
        """
        from processing.export.comparison_tables import differences_table

        return differences_table(self.result)

    def view(self, *, units: str = "gf,mm") -> dict[str, Any]:
        """Return what `keyplumb compare --json` prints, as plain data."""
        return compare_view(self.result, jointly_marked(parse_units(units), self.result))

    def plot(self, measurand: str, ax: Axes | None = None, *, units: str = "gf,mm", place: int = 0) -> Axes:
        """Draw a measurand's difference key by key, with the regions' means and their 95 % bands; returns the axes.

        place: which pair. Raises KeyError if it was compared on no key.

        >>> import keyplumb
        >>> ax = keyplumb.compare("fern.h5", "moss.h5").plot("down_weight", units="N,mm")
        >>> print(ax.get_ylabel())
        moss less fern:
        Down weight (N uncalibrated)
        """
        drawn_on = axes_or_new(ax)
        draw_differences(drawn_on, self.pair(place), measurand, jointly_marked(parse_units(units), self.result))
        return drawn_on

    def plot_travel(
        self,
        ax: Axes | None = None,
        *,
        colour: str = "natural",
        region: str = "middle",
        units: str = "gf,mm",
        place: int = 0,
    ) -> Axes:
        """Draw where in the travel the curves differ, down and up, with bands that hold all over it; returns the axes.

        region: bass, middle, treble. Raises KeyError if there are too few keys for a band.
        """
        pair = self.pair(place)
        bands = [band for band in pair.bands if (band.colour, band.region) == (colour, region)]
        if not bands:
            raise KeyError(f"there is no band for {colour}s in {region}: too few keys of both, or no such region")
        drawn_on, shown = axes_or_new(ax), jointly_marked(parse_units(units), self.result)
        for band in bands:
            draw_band(drawn_on, band, shown, words=f"{pair.second} less {pair.first}, {colour}s, {region}")
        return drawn_on
