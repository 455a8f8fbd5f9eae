"""Many keys side by side: the keys that stand out from their neighbours.

How it works: naturals and sharps are looked at apart. The line from bass to treble is Theil-Sen's (the median of all
pairwise slopes), so a few odd keys do not tilt it. A key's neighbours are the keys of its colour around it; it stands
out if it is further from their running median than `sigmas` robust standard deviations of all such distances, and by
more than matters. A gritty key is odd as such: what else its uneven curve may say (a damper that is not seen makes it
heavier) is no reason.
Sources: Theil-Sen by scipy.stats.theilslopes; running median by scipy.ndimage; what matters: own choice, beside it.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import median_filter
from scipy.stats import theilslopes

from processing.settings import Settings
from processing.stages import Finding, FloatArray, KeyResult
from recordings.keys import Key
from recordings.types import DiaryEntry, Header

FEWEST_FOR_TREND = 5
COLOURS = ("natural", "sharp")


@dataclass(frozen=True, slots=True)
class Compared:
    """A measurand in which keys are compared: by how much a key must differ to matter, and what one then says."""

    name: str
    matters: float
    high: str
    low: str


COMPARED = (
    #        measurand               matters  more                          less
    Compared("friction",             0.02,    "sticky: more friction",      "less friction"),
    Compared("down_weight",          0.03,    "heavier to press",           "lighter to press"),
    Compared("up_weight",            0.03,    "stronger return",            "weaker return"),
    Compared("breakaway",            0.05,    "sticks at rest",             "breaks away more easily"),
    Compared("key_dip",              0.25,    "deeper key dip",             "shallower key dip"),
    Compared("letoff_peak_position", 0.30,    "let-off later",              "let-off earlier"),
    Compared("letoff_drop",          0.04,    "let-off more pronounced",    "let-off fainter"),
    Compared("trigger_position",     0.25,    "late contact: note starts deeper", "note starts earlier on the way"),
    Compared("note_latency",         2.0,  "note told later",            "note told sooner"),
    Compared("release_position",     0.40,    "note stops sooner on the way up",  "note stops later on the way up"),
)  # fmt: skip
"""What matters in weight: 2 to 3 gf, under any published threshold of a hand; in place: a quarter of a millimetre."""


@dataclass(frozen=True, slots=True)
class OddReason:
    """Why a key stands out, with {} where a number goes."""

    code: str
    """A finding's code, or the measurand in which it differs."""
    template: str
    numbers: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class OddKey:
    """A key that stands out, the weightiest reason first."""

    result: KeyResult
    reasons: tuple[OddReason, ...]


@dataclass(frozen=True, slots=True, eq=False)
class KeyboardResult:
    """All results of one recording."""

    header: Header
    settings: Settings
    keys: tuple[KeyResult, ...]
    odd_keys: tuple[OddKey, ...]
    diary: tuple[DiaryEntry, ...] = ()
    """What happened while it was recorded."""
    complete: bool = True
    """False: the recording was interrupted, and this is what was there."""


def compare_keys(header: Header, results: tuple[KeyResult, ...], settings: Settings) -> KeyboardResult:
    """Return the results of all keys with those that stand out."""
    reasons = {result.key.number: _own_reasons(result) for result in results}
    for number, reason in _letoff_reasons(results, settings):
        reasons[number].append(reason)
    for compared in COMPARED:
        for number, reason in _outliers(compared, results, settings):
            reasons[number].append(reason)
    odd = tuple(OddKey(result, tuple(reasons[result.key.number])) for result in results if reasons[result.key.number])
    return KeyboardResult(header, settings, results, odd)


def with_keys_only(result: KeyboardResult, keys: Container[Key]) -> KeyboardResult:
    """Return the results of some of the keys, compared among themselves."""
    again = compare_keys(result.header, tuple(key for key in result.keys if key.key in keys), result.settings)
    return replace(again, diary=result.diary, complete=result.complete)


def values_of(name: str, colour: str, results: tuple[KeyResult, ...]) -> tuple[FloatArray, FloatArray]:
    """Return key numbers and values of a measurand where it is known, for one colour, arrays (N,)."""
    known = [
        (result.key.number, value)
        for result in results
        if result.key.colour == colour and (value := result[name].value) is not None
    ]
    numbers, values = zip(*known, strict=True) if known else ((), ())
    return np.array(numbers, np.float64), np.array(values, np.float64)


def robust_sigma(values: FloatArray) -> float:
    """Return 1.4826 times the median absolute deviation: the standard deviation of normal values, odd ones ignored."""
    return float(1.4826 * np.median(np.abs(values - np.median(values))))


def _own_reasons(result: KeyResult) -> list[OddReason]:
    return [_from_finding(finding) for finding in result.findings if finding.odd]


def _from_finding(finding: Finding) -> OddReason:
    return OddReason(finding.code, f"{finding.code.replace('_', ' ')}: {finding.template}", finding.numbers)


def _letoff_reasons(results: tuple[KeyResult, ...], settings: Settings) -> list[tuple[int, OddReason]]:
    """Return the keys without a let-off among neighbours that have one, and the other way round."""
    reasons = []
    half = settings.odd_keys.neighbours // 2
    measured = [result for result in results if result.curve is not None]
    for index, result in enumerate(measured):
        around = measured[max(0, index - half) : index] + measured[index + 1 : index + half + 1]
        share = np.mean([neighbour.letoff == "found" for neighbour in around]) if len(around) >= 2 else 0.5
        if result.letoff != "found" and share > 0.75:
            shape = "only a shoulder" if result.letoff == "shoulder" else "no notch: no let-off"
            reasons.append((result.key.number, OddReason("letoff", f"{shape} where its neighbours have one")))
        if result.letoff == "found" and share < 0.25:
            reasons.append((result.key.number, OddReason("letoff", "a let-off where its neighbours have none")))
    return reasons


def _outliers(compared: Compared, results: tuple[KeyResult, ...], settings: Settings) -> list[tuple[int, OddReason]]:
    off_of_colour = {}
    for colour in COLOURS:
        numbers, values = values_of(compared.name, colour, results)
        if len(numbers) >= FEWEST_FOR_TREND:
            off_of_colour[colour] = numbers, values, typical_values(numbers, values, settings.odd_keys.neighbours)
    if not off_of_colour:
        return []
    uneven = {result.key.number for result in results if "gritty" in result[compared.name].flags}
    sigma = robust_sigma(np.concatenate([values - typical for _, values, typical in off_of_colour.values()]))
    limit = max(compared.matters, settings.odd_keys.sigmas * sigma)
    unit = results[0][compared.name].unit
    return [
        (int(number), _difference(compared, unit, value, usual))
        for numbers, values, typical in off_of_colour.values()
        for number, value, usual in zip(numbers.tolist(), values.tolist(), typical.tolist(), strict=True)
        if abs(value - usual) > limit and number not in uneven
    ]


def _difference(compared: Compared, unit: str, value: float, usual: float) -> OddReason:
    words = compared.high if value > usual else compared.low
    return OddReason(compared.name, f"{words}, {{}} where its neighbours have {{}}", ((value, unit), (usual, unit)))


def typical_values(numbers: FloatArray, values: FloatArray, neighbours: int) -> FloatArray:
    """Return what the neighbours suggest for every key: the line plus the running median about it."""
    slope, intercept, _, _ = theilslopes(values, numbers)
    line = intercept + slope * numbers
    typical: FloatArray = line + median_filter(values - line, min(neighbours, len(values)), mode="mirror")
    return typical
