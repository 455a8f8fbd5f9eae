"""What `keyplumb trend` says on the screen, and the command that makes its page again."""

from __future__ import annotations

import shlex
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from keyplumb import __version__

if TYPE_CHECKING:
    from processing.control.pareto import ParetoRow
    from processing.display import Units
    from processing.trend.capable import Capable
    from processing.trend.line import Line

MOST_REASONS = 5
"""On the screen; the page and JSON have more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Again:
    """Everything that a page of a line depends on, as words of `keyplumb trend`; None: as it is usual."""

    store: str
    out: str
    units: str
    model: str | None = None
    baseline: int | str | None = None
    limits: str | None = None
    statistic: str | None = None
    measurands: tuple[str, ...] | None = None

    def command(self) -> str:
        """Return the command, for a shell."""
        chosen = {
            "units": self.units,
            "statistic": self.statistic,
            "model": self.model,
            "baseline": self.baseline,
            "measurand": None if self.measurands is None else ",".join(self.measurands),
            "limits": self.limits,
            "out": self.out,
        }
        words = [word for name, value in chosen.items() if value is not None for word in (f"--{name}", str(value))]
        return shlex.join(["keyplumb", "trend", self.store, *words])

    def made_by(self) -> str:
        """Return the command with the version that it was of."""
        return f"{self.command()} (keyplumb {__version__})"


def say_line(line: Line, capable: tuple[Capable, ...], reasons: tuple[ParetoRow, ...], units: Units) -> None:
    """Print what has changed on stdout, then what it rests on on stderr."""
    from processing.trend.reasons import reason_sentences
    from processing.trend.sentences import (
        capable_sentence,
        cautions,
        left_out_sentences,
        marked_for,
        news_sentences,
        rate_sentences,
    )

    for sentence in news_sentences(line, marked_for(line, units)):
        print(sentence)
    for one in capable:
        print(capable_sentence(one))
    for sentence in reason_sentences(reasons, MOST_REASONS):
        print(sentence)
    for sentence in (*rate_sentences(line), *cautions(line), *left_out_sentences(line)):
        print(sentence, file=sys.stderr)
