"""Learned limits as a limits file in TOML, which `read_limits` reads: the sentences are its comments.

How it works: limits are rounded outward, so that a file never promises less than what was learned, to a hundredth of
the way between the mean line and the limit. The rule is simple acceptance, for the same reason: values were measured
when the limits were learned, too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from processing.display import Units
from processing.errors import FileIsThere
from processing.limits.conformity import Rule
from processing.limits.learned import Ends, Learned, Proposal
from processing.limits.learned_words import learned_sentences, proposal_sentences
from recordings.errors import CannotWrite
from recordings.keys import KEY_COUNT

RULE: Rule = "simple acceptance"
WHY_SIMPLE = (
    "The limits hold values as measured: the measurement's own scatter is in them already. A guarded rule would count",
    "it twice; take one with limits from a drawing.",
)
FINENESS = 0.01
"""Of a half-width: by no more than this is a limit rounded outward."""


def write_learned(path: Path, learned: Learned, units: Units) -> None:
    """Write proposed limits in the reader's units. Raises FileIsThere if there is a file of that name, CannotWrite."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write("\n".join(_lines(learned, units)) + "\n")
    except FileExistsError as fault:
        raise FileIsThere(path, "choose another name") from fault
    except OSError as fault:
        raise CannotWrite(path, fault.strerror or str(fault)) from fault


def _lines(learned: Learned, units: Units) -> Iterator[str]:
    yield f"# Learned from {', '.join(learned.units)}."
    yield from (f"# {sentence}" for sentence in learned_sentences(learned))
    yield ""
    yield f"name = {_quoted(f'{learned.models[0]}, learned from {_counted(len(learned.units))}')}"
    yield from (f"# {line}" for line in WHY_SIMPLE)
    yield f"rule = {_quoted(RULE)}"
    yield from _expected(learned)
    for proposal in learned.proposals:
        yield from _limit(proposal, units)
    if learned.letoff is not None:
        yield from ("", "[letoff]", f"required = {_quoted(learned.letoff)}")


def _expected(learned: Learned) -> Iterator[str]:
    names = "all" if len(learned.keys) == KEY_COUNT else ",".join(key.name for key in learned.keys)
    yield from ("", "[expected]")
    if len(learned.models) == 1:
        yield f"instrument = {_quoted(learned.models[0])}"
    yield from (f"keys = {_quoted(names)}", f"stated_at = {_quoted(learned.stated_at)}")
    yield f"bed_force_newton = {learned.bed_newton}"
    yield f"touch_force_newton = {learned.touch_newton}"
    yield f"strokes = {learned.strokes}"


def _limit(proposal: Proposal, units: Units) -> Iterator[str]:
    yield ""
    yield from (f"# {sentence.strip()}" for sentence in proposal_sentences(proposal, units))
    yield from ("[[limit]]", f"measurand = {_quoted(proposal.measurand)}")
    yield f"unit = {_quoted(units.plain(proposal.unit))}"
    yield f"colour = {_quoted(proposal.colour)}"
    if proposal.lower is not None:
        yield f"lower = {_ends(proposal.lower, proposal, units, up=False)}"
    yield f"upper = {_ends(proposal.upper, proposal, units, up=True)}"


def _ends(ends: Ends, proposal: Proposal, units: Units, *, up: bool) -> str:
    width = units.value(proposal.half_width, proposal.unit)
    decimals = max(0, math.ceil(-math.log10(FINENESS * width))) if width > 0.0 else 6
    step = 10.0**-decimals
    a0, c8 = ((math.ceil if up else math.floor)(units.value(one, proposal.unit) / step) * step for one in ends)
    return f"{{ A0 = {a0:.{decimals}f}, C8 = {c8:.{decimals}f} }}"


def _counted(units: int) -> str:
    return "one unit" if units == 1 else f"{units} units"


def _quoted(text: str) -> str:
    """Return a text as TOML has it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04X}" for sign in escaped) + '"'
