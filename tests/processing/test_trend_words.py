"""How a keyboard runs from bass to treble, in sentences and JSON: what the tests say, and no more."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from processing.display import NEWTON_PER_GF, Units
from processing.keyboard import KeyboardResult, compare_keys
from processing.report.recorded import Recorded, described
from processing.report.statistics_tables import trend_tables
from processing.statistics.keyboard_statistics import describe_keyboard
from processing.trend_words import trend_sentence
from processing.views import measure_view
from recordings.keys import ALL_KEYS, Key
from tests.builders import SETTINGS, a_header
from tests.processing.comparison.keyboards import a_key

NATURALS_AND_HIGH_SHARPS = tuple(key for key in ALL_KEYS if key.colour == "natural" or key.number > 64)


def keyboard(
    down_newton: Callable[[Key], float], *, keys: tuple[Key, ...] = ALL_KEYS, scatter: float = 0.003
) -> KeyboardResult:
    random = np.random.default_rng(5)
    results = tuple(a_key(key, {"down_weight": down_newton(key) + scatter * random.standard_normal()}) for key in keys)
    return compare_keys(a_header(), results, SETTINGS)


def said(result: KeyboardResult) -> str:
    return trend_sentence(describe_keyboard(result), "down_weight", "Down weight", Units())


def test_a_line_is_told_by_its_ends_with_the_numbers_of_the_report_s_table() -> None:
    falling = keyboard(lambda key: 0.52 - 0.0008 * key.number)
    table = trend_tables(described([Recorded(falling)]), Units())[0]
    row = next(row for row in table.table.rows if row[0].endswith("naturals"))  # type: ignore[union-attr]

    assert said(falling) == f"Down weight: the trend of the naturals goes from {row[2]} gf at A0 to {row[3]} gf at C8."


def test_a_hump_in_the_middle_is_told_with_its_place_and_height() -> None:
    humped = keyboard(lambda key: 0.50 + 0.045 * max(0.0, 1.0 - ((key.number - 46) / 24) ** 2))
    sentence = said(humped)
    top, where = re.search(r"highest with ([\d.]+) ± [\d.]+ gf at (\w+)", sentence).groups()  # type: ignore[union-attr]

    assert "is no straight line" in sentence
    assert abs(float(top) - 0.545 / NEWTON_PER_GF) < 0.4
    assert abs(Key.from_name(where).number - 46) < 8


def test_sharps_on_few_keys_are_held_against_the_naturals_beside_them() -> None:
    """Both colours lie on one falling line: the middles of their two trends differ by 18 mN, the keys by nothing."""
    alike = keyboard(lambda key: 0.52 - 0.0008 * key.number, keys=NATURALS_AND_HIGH_SHARPS)
    heavier = keyboard(
        lambda key: 0.52 - 0.0008 * key.number + 0.02 * (key.colour == "sharp"), keys=NATURALS_AND_HIGH_SHARPS
    )
    more = re.search(r"; sharps ([\d.]+) ± ([\d.]+) gf more than the naturals beside them", said(heavier))

    assert "sharps" not in said(alike)
    assert more is not None
    assert abs(float(more[1]) - 0.02 / NEWTON_PER_GF) < float(more[2])


def test_few_keys_have_no_trend() -> None:
    assert said(keyboard(lambda _: 0.5, keys=ALL_KEYS[:4])) == ""


def test_odd_keys_do_not_tilt_what_json_tells_and_it_ends_with_the_keys_measured() -> None:
    keys = ALL_KEYS[20:72]
    tilted = keyboard(lambda key: 0.9 if key.number in (40, 42, 44) else 0.52 - 0.0008 * key.number, keys=keys)
    view = measure_view(tilted)
    line = next(one for one in view["trends"] if (one["name"], one["colour"]) == ("down_weight", "natural"))

    assert (line["first_key"], line["last_key"], line["shape"]) == (21, 71, "line")
    assert abs(line["per_octave"] + 12 * 0.0008) < line["per_octave_U95"]
    assert abs(line["at_last"] - (0.52 - 0.0008 * 71)) < line["at_last_U95"]
    assert [one["name"] for one in view["sharps_less_naturals"]] == ["down_weight"]
