"""Which keys a report shows in large: plain ones from all registers, and those that stand out, beside a plain one."""

from __future__ import annotations

from collections.abc import Sequence

from processing.report.recorded import Described
from processing.stages import KeyResult
from recordings.keys import Key

MOST_CURVES = 12
PLACES_OF_ONE, PLACES_OF_SEVERAL = (0.15, 0.5, 0.85), (0.05, 0.2, 0.35, 0.5, 0.65, 0.8, 0.95)
"""Where along the keyboard plain keys are taken from."""


def chosen_keys(recordings: Sequence[Described], wanted: tuple[Key, ...]) -> list[Key]:
    """Return the keys that are shown in large, in their order if they were chosen here."""
    measured = sorted({key.key for recorded in recordings for key in recorded.measured})
    if wanted:
        held = {key.key for recorded in recordings for key in recorded.result.keys}
        return [key for key in wanted if key in held]
    odd = _odd(recordings)
    plain = [key for key in measured if key not in odd]
    shares = PLACES_OF_ONE if len(recordings) == 1 else PLACES_OF_SEVERAL
    places = sorted({round(share * (len(plain) - 1)) for share in shares}) if plain else []
    odd_shown = [key for key in measured if key in odd][: MOST_CURVES - len(places)]
    return [plain[place] for place in places] + odd_shown


def beside(recordings: Sequence[Described], keys: Sequence[Key]) -> dict[Key, KeyResult | None]:
    """Return for each key of a single recording that stands out the nearest of its colour that does not."""
    if len(recordings) > 1:
        return {}
    odd = _odd(recordings)
    plain = [key for key in recordings[0].measured if key.key not in odd]
    return {key: _nearest(key, plain) for key in keys if key in odd}


def middle_key(recordings: Sequence[Described]) -> Key | None:
    """Return the key nearest the middle of what all recordings have, or of what any has; None without curves.

    A plain one, if there is any.
    """
    held = [{key.key for key in recorded.measured} for recorded in recordings]
    common = set.intersection(*held) or set.union(*held)
    plain = sorted(common - _odd(recordings)) or sorted(common)
    naturals = [key for key in plain if key.colour == "natural"] or plain
    return naturals[len(naturals) // 2] if naturals else None


def odd_words(recordings: Sequence[Described], key: Key) -> str:
    """Return what goes after a key's name if it stands out: in which recordings, where there are several."""
    found = [recorded.name for recorded in recordings if key in {odd.result.key for odd in recorded.result.odd_keys}]
    if not found:
        return ""
    return ", which stands out" if len(recordings) == 1 else f", which stands out in {' and '.join(found)}"


def left_out(recordings: Sequence[Described], shown: Sequence[Key]) -> list[Key]:
    """Return the keys that stand out and have a curve, but are not among those shown."""
    measured = {key.key for recorded in recordings for key in recorded.measured}
    return sorted((_odd(recordings) & measured) - set(shown))


def _odd(recordings: Sequence[Described]) -> set[Key]:
    return {odd.result.key for recorded in recordings for odd in recorded.result.odd_keys}


def _nearest(key: Key, plain: Sequence[KeyResult]) -> KeyResult | None:
    alike = [other for other in plain if other.key.colour == key.colour]
    return min(alike, key=lambda other: abs(other.key.number - key.number), default=None)
