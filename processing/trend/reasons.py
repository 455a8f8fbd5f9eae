"""Why units were not passed, in words: the codes of the store as people call them, and the most frequent first."""

from __future__ import annotations

from collections.abc import Sequence

from processing.control.pareto import ParetoRow
from processing.display import count_of
from processing.features.table import FEATURES

CAPTION_OF = {feature.name: feature.caption for feature in FEATURES} | {"letoff": "Let-off"}
KINDS = {
    "step": "{}, step to its neighbours",
    "spread": "{}, spread",
    "stands out": "{}, stands out",
    "finding": "{} (finding)",
}


def reason_in_words(code: str) -> str:
    """Return how people call a reason of the store.

    >>> reason_in_words("down_weight"), reason_in_words("spread:friction"), reason_in_words("finding:weak_return")
    ('Down weight', 'Friction, spread', 'Weak return (finding)')
    """
    kind, colon, about = code.partition(":")
    if not colon:
        return _caption(code)
    return KINDS.get(kind, f"{kind}: {{}}").format(_caption(about))


def reason_sentences(rows: Sequence[ParetoRow], most: int) -> tuple[str, ...]:
    """Return the most frequent reasons, and that there are more if there are more than `most`; empty: there are none.

    rows: the most frequent first.
    """
    if not rows:
        return ()
    all_units = round(rows[0].units / rows[0].share)
    head = f"Why {count_of(all_units, 'unit')} did not pass, the most frequent reason first; a unit may have several:"
    said = [f"  {_row_in_words(row, place, all_units)}" for place, row in enumerate(rows[:most])]
    return (head, *said, *(f"  {rest}" for rest in rarer(rows, most)))


def rarer(rows: Sequence[ParetoRow], most: int) -> tuple[str, ...]:
    """Return which reasons are not among the first `most`, as one sentence; empty: all are."""
    left = rows[most:]
    if not left:
        return ()
    names = "; ".join(f"{reason_in_words(row.reason)}, {count_of(row.units, 'unit')}" for row in left)
    return (f"{len(left)} rarer {'reason' if len(left) == 1 else 'reasons'}: {names}.",)


def _row_in_words(row: ParetoRow, place: int, all_units: int) -> str:
    covered = round(row.covered * all_units)
    sofar = "" if place == 0 else f"; {covered} of the {all_units} have this reason or one above"
    return f"{reason_in_words(row.reason)}: {count_of(row.units, 'unit')}{sofar}."


def _caption(name: str) -> str:
    words = name.replace("_", " ")
    return CAPTION_OF.get(name) or words[:1].upper() + words[1:]
