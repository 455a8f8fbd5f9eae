"""Recordings of check keys dealt out to the keyboards they belong to, and each keyboard without its drift.

How it works: a check belongs to the keyboard of its instrument and serial number; of one that was recorded twice, to
the sitting nearest in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from processing.errors import ForeignChecks
from processing.keyboard import KeyboardResult
from processing.sitting import Sitting, settled

MOST_APART_S = 86400.0
"""From start to start: a sitting is over within a day, a computer without a clock begins in 1970."""


@dataclass(frozen=True, slots=True, eq=False)
class Check:
    """A measured recording of check keys, and what to call it."""

    place: str
    result: KeyboardResult


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """A keyboard as it would have been measured in the middle of its sitting, as far as checks tell."""

    result: KeyboardResult
    sitting: Sitting | None = None
    """What was told of drift; None without checks."""
    checks: tuple[str, ...] = ()
    """What its checks are called."""


def settle_by_checks(results: Sequence[KeyboardResult], checks: Sequence[Check]) -> list[Settled]:
    """Return the keyboards without the drift that checks tell of.

    Raises ForeignChecks if one belongs to none of the keyboards, has no key in common with its own, or was recorded on
    another day.
    """
    dealt: list[list[Check]] = [[] for _ in results]
    for check in checks:
        dealt[_owner(results, check)].append(check)
    found = []
    for result, own in zip(results, dealt, strict=True):
        if not own:
            found.append(Settled(result))
            continue
        sitting = settled(result, [(check.place, check.result) for check in own])
        found.append(Settled(sitting.result, sitting, tuple(check.place for check in own)))
    return found


def _owner(results: Sequence[KeyboardResult], check: Check) -> int:
    """Return the place of the keyboard that a check is of."""
    own = [place for place, result in enumerate(results) if _keyboard(result) == _keyboard(check.result)]
    if not own:
        known = [_keyboard(result) for result in results]
        of, *among = _told_by_serial([_keyboard(check.result), *dict.fromkeys(known)])
        raise ForeignChecks(check.place, f"it is of {of}, which is not among the keyboards: {', '.join(among)}")
    apart_s = {place: _seconds_apart(results[place], check.result) for place in own}
    nearest = min(own, key=lambda place: apart_s[place])
    if apart_s[nearest] > MOST_APART_S:
        raise ForeignChecks(
            check.place,
            f"it was recorded {apart_s[nearest] / 86400.0:.1f} days from the keyboard, so it tells nothing of drift "
            "over a sitting; if that is not so, a computer's clock was wrong",
        )
    return nearest


def _seconds_apart(one: KeyboardResult, other: KeyboardResult) -> float:
    return abs((one.header.run.started_at - other.header.run.started_at).total_seconds())


def _keyboard(result: KeyboardResult) -> tuple[str, str | None]:
    return result.header.run.instrument, result.header.run.serial


def _told_by_serial(keyboards: Sequence[tuple[str, str | None]]) -> list[str]:
    """Return what some keyboards are called: with serial numbers as soon as one of them has any."""
    if not any(serial for _, serial in keyboards):
        return [instrument for instrument, _ in keyboards]
    return [
        f"{instrument} (serial number {serial})" if serial else f"{instrument} (no serial number)"
        for instrument, serial in keyboards
    ]
