"""What is said of a unit: one decision for everything that was asked, put together key by key and for the whole.

How it works: a unit fails if one decision fails; else it cannot be told if one cannot be told; else it passes. How the
numbers of a key, and keys that share a rig, hang together is not known, so probabilities are only bounded. A unit that
passes is wrongly passed at most with the sum of the probabilities that a true value lies outside (Bonferroni); a unit
that fails is wrongly failed at most as probably as its surest failing decision, for one bad number suffices. Findings
and missing keys carry no probability and take no part.
A key of which nothing was decided is not judged: it is neither passed nor failed, and counts for nothing.
Worst first means: failing before not to be told before passing; of what fails, that which has no number (a finding)
before all others, then by how far it lies outside, as a share of what is allowed; of the rest by how little likely it
is to conform, what carries no probability first; then from the left.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from processing.display import Units, in_words
from processing.limits.conformity import Decided, Outcome
from recordings.keys import Key
from recordings.types import Header

WORST_FIRST: tuple[Outcome, ...] = ("fail", "cannot tell", "pass")
Numbers = tuple[tuple[float, str], ...]
KeyOutcome = Literal[Outcome, "not judged"]
NOT_JUDGED: KeyOutcome = "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One thing that was asked, of one key or of the whole unit."""

    code: str
    """A measurand; `step:` or `spread:` and a measurand; `letoff`; `finding:` or `stands out:` and a code; or what is
    wrong with the evidence: `missing key`, `few strokes`, `incomplete`, `other instrument`, `other settings`, or a flag
    of the calibration."""
    key: Key | None
    """None: it is about the unit as a whole."""
    outcome: Outcome
    value: float | None = None
    u: float | None = None
    """Standard uncertainty of the value; None: there is none, or it is not described by one number."""
    unit: str = "1"
    lower: float | None = None
    upper: float | None = None
    conforming: float | None = None
    """Probability that the true value lies within the limits; None: nobody knows."""
    wrong: float | None = None
    """Probability that the outcome is wrong."""
    template: str
    """In words, with {} where a number goes."""
    numbers: Numbers = ()

    def in_words(self, units: Units) -> str:
        """Return what was decided and why, in the reader's units."""
        return in_words(self.template, self.numbers, units)


@dataclass(frozen=True, slots=True)
class KeyVerdict:
    """One key."""

    key: Key
    outcome: KeyOutcome
    """`not judged`: no limit is about it, and no finding fails it."""
    decisions: tuple[Decision, ...]
    """Worst first."""
    expected: bool = True
    """The limits want it in the recording; others are there beside."""

    @property
    def wrong(self) -> float | None:
        """How probable it is, at most, that the outcome is wrong; None: it rests on what carries no probability."""
        return bound_of_wrong(outcome_of(self.decisions), self.decisions)


@dataclass(frozen=True, slots=True)
class UnitVerdict:
    """The whole unit."""

    header: Header
    limits_name: str
    outcome: Outcome
    keys: tuple[KeyVerdict, ...]
    """Worst key first."""
    of_the_unit: tuple[Decision, ...]
    """Worst first."""
    wrong: float | None
    """How probable it is, at most, that the outcome is wrong; None: it rests on what carries no probability."""
    trusted: tuple[str, ...] = ()
    """What is wrong with the scales, as flags, and the limits allow; no probability includes how far they are off."""

    def reasons(self) -> tuple[Decision, ...]:
        """Return all that keeps the unit from passing, worst first; what is about the whole unit before its keys."""
        decisions = (*self.of_the_unit, *(decision for key in self.keys for decision in key.decisions))
        return tuple(one for one in sorted(decisions, key=badness) if one.outcome != "pass")


def as_template(words: str) -> str:
    """Return words without numbers as a template: a brace in them stays a brace."""
    return words.replace("{", "{{").replace("}", "}}")


def decision(
    code: str, key: Key | None, decided: Decided, unit: str, *, template: str, numbers: Numbers, **value: float | None
) -> Decision:
    """Return a decision that `conformity.decide` has made. value: value, u, lower, upper."""
    return Decision(
        code=code,
        key=key,
        outcome=decided.outcome,
        unit=unit,
        conforming=decided.conforming,
        wrong=decided.wrong,
        template=template,
        numbers=numbers,
        **value,
    )


def badness(one: Decision) -> tuple[int, float, int]:
    """Return by what decisions are sorted, worst first."""
    rank, number = WORST_FIRST.index(one.outcome), one.key.number if one.key else 0
    if one.outcome == "fail":
        return rank, -_outside(one), number
    unknown = 1.0 if one.outcome == "pass" else 0.0
    return rank, unknown if one.conforming is None else one.conforming, number


def _outside(one: Decision) -> float:
    """Return how far a value lies beyond its limit, as a share of the distance between the limits, or of the limit if
    there is one only; without end if there is no value."""
    ends = [end for end in (one.lower, one.upper) if end is not None]
    if one.value is None or not ends:
        return math.inf
    allowed = abs(ends[-1] - ends[0]) or abs(ends[0])
    beyond = max(
        ends[0] - one.value if one.lower is not None else 0.0, one.value - ends[-1] if one.upper is not None else 0.0
    )
    return beyond / allowed if allowed else math.inf


def key_verdict(key: Key, decisions: Iterable[Decision], *, expected: bool = True) -> KeyVerdict:
    """Return the verdict on a key; one of which nothing was asked is not judged."""
    worst_first = tuple(sorted(decisions, key=badness))
    return KeyVerdict(key, outcome_of(worst_first) if worst_first else NOT_JUDGED, worst_first, expected)


def unit_verdict(
    header: Header, limits_name: str, keys: Iterable[KeyVerdict], of_the_unit: Iterable[Decision]
) -> UnitVerdict:
    """Return the verdict on a unit."""
    worst_first = tuple(sorted(keys, key=_badness_of_key))
    own = tuple(sorted(of_the_unit, key=badness))
    every = (*own, *(one for key in worst_first for one in key.decisions))
    outcome = outcome_of(every)
    return UnitVerdict(header, limits_name, outcome, worst_first, own, bound_of_wrong(outcome, every))


def _badness_of_key(key: KeyVerdict) -> tuple[int, float, int]:
    return badness(key.decisions[0]) if key.decisions else (len(WORST_FIRST), 1.0, key.key.number)


def outcome_of(decisions: Sequence[Decision]) -> Outcome:
    """Return the worst outcome; without any decision it is a pass."""
    return min((one.outcome for one in decisions), key=WORST_FIRST.index, default="pass")


def bound_of_wrong(outcome: Outcome, decisions: Sequence[Decision]) -> float | None:
    """Return how probable it is, at most, that an outcome made of some decisions is wrong.

    Of a pass: the sum over all decisions of the probability not to conform. Of a fail: the least probability to conform
    among the failing ones. Of "cannot tell": the smaller of what either would risk. None: it rests on decisions without
    a probability only, or on one that cannot be told and has none.
    """
    known = [one.conforming for one in decisions if one.conforming is not None]
    to_pass = min(1.0, sum(1.0 - conforming for conforming in known))
    if outcome == "fail":
        failing = [one.conforming for one in decisions if one.outcome == "fail" and one.conforming is not None]
        return min(failing, default=None)
    if not known:
        return None
    if outcome == "pass":
        return to_pass
    blind = any(one.outcome == "cannot tell" and one.conforming is None for one in decisions)
    return None if blind else min(to_pass, min(known))
