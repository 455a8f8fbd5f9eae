"""The first page: can the numbers be relied on, how do the keys feel (or differ), which keys are to be looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from processing.calibration_status import marked
from processing.display import Units, with_unit
from processing.report.atlas import overlay
from processing.report.blocks import Answer, Block, Caution
from processing.report.charts import Charts, used_looks
from processing.report.choice import middle_key, odd_words
from processing.report.curves import key_panel
from processing.report.findings import Found, most_important
from processing.report.recorded import Described
from processing.report.strips import SIDE_BY_SIDE, STRIPS, strip_panel
from processing.summary import nobody_odd_sentence, odd_key_sentences, summary, what_was_done
from recordings.types import RunInfo

CAUTION = (
    "These numbers help a qualified person to judge; they do not replace that person's sign-off. "
    "A motor near fingers can crush: stops in software are no safety function. Have an emergency stop wired into the "
    "motor's supply, and follow your local rules. Instruments on mains are opened by licensed people only; lead key "
    "weights are toxic to handle."
)
MOST_ODD = 8
"""Keys that are named on the first page."""
KNOWN_TO = (
    ("down_weight", "a down weight"),
    ("friction", "friction"),
    ("letoff_peak_position", "the place of a let-off"),
    ("trigger_position", "where a note starts"),
)


def title(recordings: Sequence[Described]) -> str:
    """Return the report's title."""
    if len(recordings) == 1:
        return f"{recordings[0].name}: how its keys feel"
    *first, last = (recorded.name for recorded in recordings)
    return f"{', '.join(first)} and {last}: how their keys feel, side by side"


def subtitles(recordings: Sequence[Described]) -> tuple[str, ...]:
    """Return when and by whom each was recorded."""
    return tuple(
        ("" if len(recordings) == 1 else f"{recorded.name}: ") + _when(recorded.result.header.run)
        for recorded in recordings
    )


def _when(run: RunInfo) -> str:
    when = f"{run.started_at:%Y-%m-%d %H:%M} UTC"
    if run.source_file:
        return f"from the table {run.source_file}, last changed {when}"
    return f"recorded {when}" + (f" by {run.operator}" if run.operator else "")


def first_page(recordings: Sequence[Described], found: Found, units: Units) -> tuple[Block, ...]:
    """Return three answers and one picture."""
    several = len(recordings) > 1
    feel = most_important(recordings, found, units) if several else _one_feels(recordings[0], units)
    answers = (
        Answer("Can these numbers be relied on?", _prefixed(recordings, units, _trust)),
        Answer("How do the keys feel?" if not several else "Where do they differ?", feel),
        Answer("Which keys should be looked at?", _prefixed(recordings, units, _odd)),
    )
    *told, look_at = (answer for answer in answers if answer.sentences)
    picture = _picture(recordings, units)
    return (*told, *((picture,) if picture else ()), look_at, Caution(CAUTION))


def _one_feels(recorded: Described, units: Units) -> tuple[str, ...]:
    return tuple(summary(recorded.result, recorded.statistics, units)[1:])


def _prefixed(
    recordings: Sequence[Described], units: Units, say: Callable[[Described, Units], list[str]]
) -> tuple[str, ...]:
    if len(recordings) == 1:
        return tuple(say(recordings[0], units))
    return tuple(f"{recorded.name}: {sentence}" for recorded in recordings for sentence in say(recorded, units))


def _trust(recorded: Described, units: Units) -> list[str]:
    result = recorded.result
    sentences = [what_was_done(result)]
    own = marked(units, result.header)
    known = [words for name, called in KNOWN_TO if (words := _known_to(recorded, name, called, own))]
    if known:
        several = len(recorded.measured) > 1
        whose = "medians of the 95 % intervals of single keys" if several else "its 95 % interval"
        said = ", ".join(known)
        sentences.append(f"Typically {said} ({whose})." if several else f"{said[0].upper()}{said[1:]} ({whose}).")
    checks = [entry.text for entry in result.diary if entry.kind == "check"]
    if checks:
        sentences.append(f"Check of the rig before: {checks[-1]}")
    spoken_of = sum(any(not finding.odd for finding in key.findings) for key in result.keys)
    if spoken_of:
        keys = f"{spoken_of} key{'s' if spoken_of > 1 else ''}"
        sentences.append(f"The recording of {keys} leaves something to be said: see “About the recording”.")
    return sentences


def _known_to(recorded: Described, name: str, called: str, units: Units) -> str:
    found = [key[name] for key in recorded.measured]
    expanded = [one.expanded for one in found if one.expanded is not None]
    if not expanded:
        return ""
    median, unit = float(np.median(expanded)), found[0].unit
    return f"{called} is known to ± {with_unit(median, unit, units)}"


def _odd(recorded: Described, units: Units) -> list[str]:
    if not recorded.measured:
        return ["Every key: nothing could be measured on any of them; record them again."]
    odd = odd_key_sentences(recorded.result, units)
    named = [f"{name}: {why}." for name, why in odd[:MOST_ODD]]
    if len(odd) > MOST_ODD:
        named.append(f"And {len(odd) - MOST_ODD} more: see “Keys that stand out”.")
    return named or [nobody_odd_sentence(recorded.result)]


def _picture(recordings: Sequence[Described], units: Units) -> Charts | None:
    """Return a key from the middle beside the weights of all keys."""
    key = middle_key(recordings)
    if key is None:
        return None
    first = recordings[0].of(key)
    if len(recordings) == 1 and first is not None:
        curve = key_panel(first, marked(units, recordings[0].result.header))
    else:
        curve = overlay(key, recordings, units)
    weights = strip_panel((STRIPS if len(recordings) == 1 else SIDE_BY_SIDE)[0], recordings, units)
    title = key.name + odd_words(recordings, key)
    panels = (replace(curve, title=title), *((weights,) if weights else ()))
    return Charts(
        caption=f"Left: {title}, down (solid) and up (dashed). Right: the weights of all keys; hollow marks are "
        "naturals, triangles sharps, rings keys that stand out."
        if weights
        else f"{title}, down (solid) and up (dashed).",
        panels=panels,
        columns=2,
        height_mm=52.0,
        legend=used_looks(panels, lambda label: "trend" not in label),
    )
