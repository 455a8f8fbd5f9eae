"""What check keys told of a sitting, in sentences: what drifted, by how much at most, and what they cannot tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from processing.display import Units, with_interval, with_unit
from processing.sitting import Drifted, Sitting
from processing.statistics.correlated import Estimate
from processing.statistics.drift import drift_bound
from recordings.keys import Key

BOUNDED = ("down_weight", "friction", "key_dip")
"""Of these it is told how much they may have drifted, sure or not."""
TELLS_A_BEND = 5
"""Degrees of freedom from which most bends that matter are found: simulated with drifts of seven repeatabilities."""
UNTOLD = {
    "too few": "are too few to tell a drift from chance; three check keys in two recordings of checks, or one or two "
    "in three, are the least",
    "at one time": "lie too close together in time to tell a drift of the whole sitting; record check keys that lie "
    "far apart on the keyboard, or four and more recordings far apart in time",
}


def drift_sentences(sitting: Sitting | None, name: str, units: Units) -> list[str]:
    """Return what drifted, in words; nothing where there were no checks. name: what the keyboard is called."""
    if sitting is None:
        return []
    keys = ", ".join(key.name for key in sitting.check_keys)
    if sitting.untold is not None:
        return [f"{name}: {sitting.checks} measurements of the check keys {keys} {UNTOLD[sitting.untold]}."]
    sure = "; ".join(_drift_in_words(one, units) for one in sitting.drifted if one.sure)
    told = [
        f"by check keys {keys}, measured {sitting.checks} times in {sitting.recordings} recordings, "
        f"{sure or 'nothing surely drifted'}.",
        *_at_most([one for one in sitting.drifted if not one.sure and one.name in BOUNDED], units),
        *_uneven([one for one in sitting.drifted if one.uneven], units),
        *_hardly_told(sitting.drifted),
        *_continued(sitting.outside),
        "what the checks say of drift, sure or not, is taken out of every key, and the keyboard is brought to what all "
        "recordings show on average; what that leaves open is in the budgets.",
    ]
    return [f"{name}: {sentence}" for sentence in told]


def _drift_in_words(one: Drifted, units: Units) -> str:
    drift = one.drift
    if not drift.bent:
        return f"{one.caption} drifted by {_amount(drift.per_hour, one.unit, units, ' an hour')}"
    first, last = drift.hours
    return (
        f"{one.caption} drifted by {_amount(drift.between(first, 0.0), one.unit, units)} up to the middle of the "
        f"sitting and by {_amount(drift.between(0.0, last), one.unit, units)} after it"
    )


def _amount(estimate: Estimate, unit: str, units: Units, per: str = "") -> str:
    return f"{with_interval(estimate.value, estimate.expanded(), unit, units)}{per}"


def _at_most(told: Sequence[Drifted], units: Units) -> list[str]:
    if not told:
        return []
    bounds = [f"{one.caption.lower()} by {with_unit(drift_bound(one.drift), one.unit, units)}" for one in told]
    bent = [one.caption.lower() for one in told if one.drift.bent]
    but = f" (a bend of {', '.join(bent)} is allowed for)" if bent else ""
    return [f"from the first key to the last there drifted at most {', '.join(bounds)}, if it drifted straight{but}."]


def _uneven(told: Sequence[Drifted], units: Units) -> list[str]:
    if not told:
        return []
    by = ", ".join(_differ_in_words(one, units) for one in told if one.drift.differ.u > 0.0)
    differ = f", by a standard deviation of {by}" if by else ""
    return [
        f"of {', '.join(one.caption.lower() for one in told)} the recordings surely do not lie on one straight line in "
        f"time: either it drifted in a bend, or recordings differ as a whole (zero, touch, temperature){differ}."
    ]


def _differ_in_words(one: Drifted, units: Units) -> str:
    own = one.drift.whole
    lies = _amount(replace(own, value=abs(own.value)), one.unit, units)
    return (
        f"{with_unit(one.drift.differ.u, one.unit, units)} of {one.caption.lower()}, the keyboard's own {lies} "
        f"{'under' if own.value < 0.0 else 'over'} {_average(one)}"
    )


def _average(one: Drifted) -> str:
    if not one.drift.within:
        return "their line in time"
    return "their average, beside that bend" if one.drift.bent else "their average"


def _hardly_told(drifted: Sequence[Drifted]) -> list[str]:
    """Return what so few checks cannot tell."""
    if not all(one.drift.within for one in drifted):
        return [
            "the check keys follow each other too closely in the keyboard's own recording to tell its drift there, so "
            "it is told from recording to recording: it went straight between them, or this is wrong; check keys at "
            "both ends of the keyboard and between would tell."
        ]
    if min(one.drift.dof + one.drift.bent for one in drifted) < TELLS_A_BEND:
        return ["so few checks can hardly tell whether it drifted straight; five check keys would."]
    return []


def _continued(outside: Sequence[Key]) -> list[str]:
    if not outside:
        return []
    which = outside[0].name if len(outside) == 1 else f"{len(outside)} keys, among them {outside[0].name}"
    return [
        f"{which}: recorded before the first or after the last check, where it is only assumed that the drift went on."
    ]
