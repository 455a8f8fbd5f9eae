"""Every choice of the statistics with unit, default and reason."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StatisticsSettings:
    """How keyboards are described."""

    coverage: float = 0.95
    """Of every interval."""
    fewest_keys: int = 5
    """Of one colour: under this, scatter and trend cannot be told from each other."""
    smooth_share: float = 0.25
    """Share of the keys of a colour in the window of the smooth trend: a hump of two octaves keeps its height."""
    narrowest_window: int = 9
    """Keys of a colour in that window at least: an octave has seven naturals; as in `OddKeySettings.neighbours`."""
    curved_alpha: float = 0.01
    """A line is given up only if so rare a lack of fit speaks against it: a line is told faster."""
    stand_out_alpha: float = 0.05
    """Over all measurands and colours of one keyboard together, shared out equally (Bonferroni)."""
    stand_out_share: float = 0.2
    """Share of the keys of a colour that may stand out; more would be the rule and not the exception."""
    modified_z_limit: float = 3.5
    """Of the second opinion; Iglewicz & Hoaglin 1993, as in the e-Handbook 1.3.5.17."""
    clean_alpha: float = 0.01
    """Residuals so far out do not count into a spread: an odd key is named, and is no part of the evenness."""
    reach_keys: int = 3
    """A0 and C8 are told if keys were measured so near to them: sharps begin one key later and end three sooner."""
