"""A verdict in words: a line for the unit, a line for a key, and the label that says what they rest on."""

from __future__ import annotations

from datetime import datetime

from processing.calibration_status import ID_SHOWN, calibration_sentence
from processing.display import Units, count_of
from processing.limits.conformity import Outcome
from processing.limits.types import Limits
from processing.limits.verdict import NOT_JUDGED, Decision, KeyVerdict, UnitVerdict
from recordings.calibration_file import content_id
from recordings.types import Header, RunInfo

IN_LETTERS: dict[Outcome, str] = {"pass": "PASS", "fail": "FAIL", "cannot tell": "CANNOT TELL"}
NOT_TOLD = "not told"
COUNTED: tuple[tuple[Outcome, tuple[str, str]], ...] = (
    ("fail", ("fails", "fail")),
    ("cannot tell", ("cannot be told", "cannot be told")),
    ("pass", ("passes", "pass")),
)
"""What one key does, and what several do."""
TRUSTED = {
    "uncalibrated": "scales are only stated",
    "calibration_expired": "scales rest on an expired calibration",
    "calibration_foreign": "scales rest on another rig's calibration",
}
SMALLEST_TOLD = 1e-4
"""Probabilities below this are told as such: their digits rest on the far tail of a distribution."""
MOST_KEYS = 10
"""Keys that are told one by one; the others are counted."""


def unit_name(run: RunInfo) -> str:
    """Return what a unit is called: its serial number, behind its model where that is not its beginning."""
    if run.serial is None:
        return run.instrument
    return run.serial if run.serial.startswith(run.instrument) else f"{run.instrument} {run.serial}"


def unit_sentence(verdict: UnitVerdict, units: Units) -> str:
    """Return the verdict on a unit in one line with its first reason."""
    reasons, counted = verdict.reasons(), counted_keys(verdict)
    why = f": {reason_in_words(reasons[0], units)}" if reasons else ""
    parts = f"{IN_LETTERS[verdict.outcome]}{why}; {counted}. {doubt_in_words(verdict)}"
    return f"{unit_name(verdict.header.run)}: {parts}".rstrip()


def doubt_in_words(verdict: UnitVerdict) -> str:
    """Return how probable it is that a verdict is wrong, and what that does not include."""
    trusted = " and ".join(TRUSTED[flag] for flag in verdict.trusted)
    beside = f"{trusted}: the limits allow that, and no probability includes how far they are off." if trusted else ""
    return f"{wrong_in_words(verdict.outcome, verdict.wrong)} {beside.capitalize()}".strip()


def nameless(run: RunInfo) -> str | None:
    """Return what is to be said of a unit whose recording does not tell which one it is; None: it does."""
    if run.serial is not None:
        return None
    who = "" if run.operator is not None else " and no operator"
    return f"no serial number{who} told: nobody can say which unit this verdict is about; record with --serial"


def counted_keys(verdict: UnitVerdict) -> str:
    """Return how many keys there are of each outcome; keys that were not judged count as none of them."""
    judged = [key for key in verdict.keys if key.outcome != NOT_JUDGED]
    unasked = sum(key.outcome == NOT_JUDGED and key.expected for key in verdict.keys)
    beside = len(verdict.keys) - len(judged) - unasked
    outcomes = [key.outcome for key in judged]
    counts = [(outcomes.count(one), words) for one, words in COUNTED]
    told = [f"{count} {words[0] if count == 1 else words[1]}" for count, words in counts if count]
    if unasked:
        told.append(f"{unasked} {'has no limit and was' if unasked == 1 else 'have no limit and were'} not judged")
    kind = "expected key" if beside and all(key.expected for key in judged) else "key"
    found = f"of {count_of(len(judged) + unasked, kind)} {', '.join(told)}" if told else "no key was judged"
    are = "is in the recording and was" if beside == 1 else "are in the recording and were"
    return f"{found}; {beside} more {are} not judged" if beside else found


def key_sentence(verdict: KeyVerdict, units: Units) -> str:
    """Return the verdict on a key in one line with its worst decision."""
    start = f"{verdict.key.name}: {verdict.outcome}"
    if not verdict.decisions:
        return f"{start}: no limit is about it"
    others = sum(one.outcome != "pass" for one in verdict.decisions[1:])
    more = f"; and {count_of(others, 'more reason')}" if others else ""
    worst = verdict.decisions[0]
    return f"{start}: {worst.in_words(units)}{_probability_of(worst)}{more}"


def told_keys(verdict: UnitVerdict) -> tuple[tuple[KeyVerdict, ...], int]:
    """Return the keys to be told one by one, worst first, and how many more do not pass; of a pass, the nearest."""
    judged = [key for key in verdict.keys if key.outcome != NOT_JUDGED]
    bad = [key for key in judged if key.outcome != "pass"]
    nearest = judged[:1] if verdict.outcome == "pass" else []
    return tuple(bad[:MOST_KEYS] or nearest), max(0, len(bad) - MOST_KEYS)


def told_of_the_unit(verdict: UnitVerdict) -> tuple[Decision, ...]:
    """Return what keeps the unit as a whole from passing beside the first reason, which `unit_sentence` tells."""
    first = verdict.reasons()[:1]
    return tuple(one for one in verdict.of_the_unit if one.outcome != "pass" and one not in first)


def reason_in_words(decision: Decision, units: Units) -> str:
    """Return a decision with the key it is about."""
    words = decision.in_words(units).rstrip(".")
    return f"{decision.key.name}: {words}" if decision.key else words


def wrong_in_words(outcome: Outcome, wrong: float | None) -> str:
    """Return how probable it is that a verdict is wrong, in a sentence; of what cannot be told, if it were decided."""
    if wrong is None:
        alone = "No probability of being wrong can be stated: it rests on findings alone."
        return "" if outcome == "cannot tell" else alone
    at_most = f"{'' if wrong < SMALLEST_TOLD else 'at most '}{probability(wrong)}"
    if outcome == "cannot tell":
        return f"Probability of being wrong, were it decided: {at_most}."
    return f"Probability of being wrong: {at_most}."


def probability(value: float) -> str:
    """Return a probability for people.

    >>> probability(0.0123), probability(1e-9)
    ('1.2 %', 'under 0.01 %')
    """
    return f"under {100.0 * SMALLEST_TOLD:g} %" if value < SMALLEST_TOLD else f"{100.0 * value:.2g} %"


def _probability_of(decision: Decision) -> str:
    if decision.conforming is None or decision.outcome == "pass":
        return ""
    return f" (probability of being within its limits: {probability(decision.conforming)})"


def label(header: Header, limits: Limits, judged_at: datetime | None = None) -> tuple[tuple[str, str], ...]:
    """Return what a verdict rests on, as name and text; what nobody has told says so."""
    run, rig = header.run, header.rig
    lines = [
        ("model", run.instrument),
        ("serial number", run.serial or NOT_TOLD),
        ("recorded", f"{run.started_at:%Y-%m-%d %H:%M} UTC"),
        ("operator", run.operator or NOT_TOLD),
        ("rig", " ".join(filter(None, (rig.model, rig.serial_number))) or NOT_TOLD),
        ("calibration", calibration_sentence(header)),
        ("calibration record", _record(header)),
        ("limits", f"{limits.name} ({limits.file_name or 'never in a file'})"),
        ("SHA-256 of the limits", limits.sha256 or NOT_TOLD),
    ]
    return tuple(lines if judged_at is None else [*lines, ("judged", f"{judged_at:%Y-%m-%d %H:%M} UTC")])


def _record(header: Header) -> str:
    record = header.calibration.record
    if record is None:
        return "none"
    return f"{content_id(record)[:ID_SHOWN]}, valid until {record.valid_until:%Y-%m-%d}"
