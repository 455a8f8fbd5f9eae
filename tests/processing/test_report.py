"""What a report says: the right sections for every kind of recording, in the reader's units, with every mark."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from processing.display import NEWTON_PER_GF, Units
from processing.errors import TooManyRecordings
from processing.keyboard import KeyboardResult, compare_keys
from processing.pipeline import analyse
from processing.report.blocks import Answer, Folded, ReportContent, Sentences, TableBlock
from processing.report.charts import Charts
from processing.report.content import build_content
from processing.report.recorded import Made, Recorded, source_file
from processing.report.style import LOOKS
from processing.report.write import write_report
from processing.stages import Finding
from recordings.keys import Key
from recordings.types import DiaryEntry, KeyRecording, RawEvents, RawTrace
from tests.builders import C4, QUICK, Press, SyntheticKey, a_header, a_recording
from tests.processing.keyboards import ALL, a_keyboard, recorded

STICKY = frozenset({42})


def about(*results: Recorded, units: Units | None = None, **how: object) -> ReportContent:
    return build_content(results, units or Units(), **how)  # type: ignore[arg-type]


def section(content: ReportContent, title: str) -> tuple[object, ...]:
    return next((one.blocks for one in content.sections if one.title == title), ())


def charts(content: ReportContent, title: str) -> list[Charts]:
    return [block for block in section(content, title) if isinstance(block, Charts)]


def texts(content: ReportContent) -> list[str]:
    """Return every sentence, head and cell of a report."""
    found: list[str] = [content.title, *content.subtitles]
    for block in content.blocks():
        if isinstance(block, Answer | Sentences):
            found += block.sentences
        for table in block.tables if isinstance(block, Folded) else [block]:
            if isinstance(table, TableBlock):
                found += [*table.table.heads, *(cell for row in table.table.rows for cell in row)]
    return found


PICTURES = (
    "From bass to treble",
    "Curves",
    "Every key at a glance",
    "The let-off from close by",
    "Where notes start and stop",
    "What the weights are made of",
    "What the uncertainties are made of",
)


@pytest.mark.parametrize("title", PICTURES)
def test_a_whole_keyboard_gets_every_picture(title: str) -> None:
    content = about(recorded(a_keyboard(sticky=STICKY)))

    assert charts(content, title)


def test_the_first_page_answers_three_questions_with_one_picture() -> None:
    blocks = section(about(recorded(a_keyboard(sticky=STICKY))), "In short")

    assert sum(isinstance(block, Answer) for block in blocks) == 3
    assert sum(isinstance(block, Charts) for block in blocks) == 1
    assert all(block.sentences for block in blocks if isinstance(block, Answer))


def test_the_odd_key_is_named_on_the_first_page_ringed_in_its_strip_and_drawn_beside_a_plain_one() -> None:
    content = about(recorded(a_keyboard(sticky=STICKY)))
    look_at = [block for block in section(content, "In short") if isinstance(block, Answer)][-1]
    strips = charts(content, "From bass to treble")[0]
    friction = next(panel for panel in strips.panels if panel.title == "Friction")
    (rings,) = (dots for dots in friction.dots if dots.look == "odd")

    assert any(sentence.startswith("D4: ") and "more friction" in sentence for sentence in look_at.sentences)
    assert rings.x.tolist() == [42.0]
    assert any("D4" in panel.title and "pale" in panel.title for panel in charts(content, "Curves")[0].panels)


def a_gritty(keyboard: KeyboardResult, names: str) -> KeyboardResult:
    """Return a keyboard whose check has found grit in some keys."""
    grit = Finding("gritty", "uneven by {}", ((0.02, "N"),), "clean it", odd=True)
    keys = tuple(replace(key, findings=(grit,)) if key.key.name in names.split() else key for key in keyboard.keys)
    return compare_keys(keyboard.header, keys, keyboard.settings)


def first_picture(content: ReportContent) -> str:
    return charts(content, "In short")[0].panels[0].title


def test_the_key_on_the_first_page_is_called_odd_if_it_is_and_nothing_else_if_not() -> None:
    assert first_picture(about(recorded(a_keyboard(range(38, 43))))) == "C4"
    assert first_picture(about(recorded(a_gritty(a_keyboard((45,)), "F4")))) == "F4, which stands out"


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((40,), "Whether one stands out from its neighbours cannot be told of 1 measured key"),
        (range(40, 45), "Whether one stands out from its neighbours cannot be told of 5 measured keys"),
        (
            range(40, 48),
            "None of the naturals stands out from its neighbours; of the sharps there are too few",
        ),
        (range(40, 60), "None stands out from its neighbours."),
    ],
)
def test_too_few_keys_are_not_said_to_have_nobody_odd(numbers: range, said: str) -> None:
    content = about(recorded(a_keyboard(numbers)))
    page = [block for block in section(content, "In short") if isinstance(block, Answer)][-1].sentences
    (below,) = section(content, "Keys that stand out")

    assert page[0].startswith(said)
    assert isinstance(below, Sentences)
    assert below.sentences[0].startswith(said)


def test_curves_say_which_key_is_odd_in_which_recording_and_which_odd_keys_are_not_shown() -> None:
    odd = "C2 D2 E2 F2 G2 A2 B2 C6"
    fern = recorded(a_gritty(a_keyboard(instrument="fern"), odd), "f.h5")
    moss = recorded(a_gritty(a_keyboard(instrument="moss"), "C2"), "m.h5")
    content = about(fern, moss)
    large, tiles = charts(content, "Curves")[0], charts(content, "Every key at a glance")[0]
    titles = [panel.title for panel in large.panels]

    assert "C2, which stands out in fern and moss" in titles
    assert "D2, which stands out in fern" in titles
    assert [title for title in titles if "stands out" not in title]
    assert "A2, B2, C6 stand out as well: see “Every key at a glance”." in large.caption
    assert [panel.title for panel in tiles.panels if panel.title.endswith("*")] == [f"{name} *" for name in odd.split()]
    assert "Keys with * stand out." in tiles.caption


def test_let_offs_are_told_by_the_same_parts_of_the_keyboard_as_differences() -> None:
    titles = [panel.title for panel in charts(about(recorded(a_keyboard())), "The let-off from close by")[0].panels]

    assert titles == ["Bass, A0 to B2", "Middle, C3 to C6", "Treble, C#6 to C8"]


@pytest.mark.parametrize(
    ("numbers", "tiles"),
    [(range(30, 42), 12), (range(16, 77), 61), ((40,), 1), (ALL, 88)],
    ids=["a dozen", "61 keys", "a single key", "all"],
)
def test_every_key_recorded_has_a_tile_and_a_row_and_no_other(numbers: range, tiles: int) -> None:
    content = about(recorded(a_keyboard(numbers)))
    (atlas,) = charts(content, "Every key at a glance")
    rows = next(
        b for b in section(content, "Numbers") if isinstance(b, TableBlock) and b.title == "All keys"
    ).table.rows

    assert [panel.title for panel in atlas.panels] == [Key(number).name for number in numbers]
    assert len(rows) == tiles


def test_all_tiles_of_the_atlas_are_on_one_scale() -> None:
    (atlas,) = charts(about(recorded(a_keyboard(sticky=STICKY))), "Every key at a glance")

    assert len({(panel.x, panel.y) for panel in atlas.panels}) == 1


def test_a_recording_of_bad_keys_alone_says_so_and_draws_nothing() -> None:
    numbers = range(30, 42)
    content = about(recorded(a_keyboard(numbers, bad=frozenset(numbers))))
    drawn = [block for block in content.blocks() if isinstance(block, Charts)]

    assert drawn == []
    assert any("nothing could be measured on any of them" in text for text in texts(content))
    assert any("the trace holds no press" in text for text in texts(content))


def test_a_bad_key_among_good_ones_has_an_empty_tile_that_says_so() -> None:
    (atlas,) = charts(about(recorded(a_keyboard(range(30, 42), bad=frozenset({35})))), "Every key at a glance")

    assert [panel.empty for panel in atlas.panels if panel.title == "G3"] == ["nothing could be measured"]
    assert sum(bool(panel.empty) for panel in atlas.panels) == 1


def test_two_keyboards_lie_over_one_another_with_bands_and_are_compared_in_sentences() -> None:
    first = recorded(a_keyboard(range(20, 60), instrument="fern"))
    second = recorded(a_keyboard(range(20, 60), key=SyntheticKey(down=0.55), instrument="moss"))
    content = about(first, second)
    panel = charts(content, "Curves")[0].panels[0]
    differ = next(
        b for b in section(content, "In short") if isinstance(b, Answer) and b.question == "Where do they differ?"
    )

    assert [line.look for line in panel.lines] == ["down 0", "up 0", "down 1", "up 1"]
    assert all(line.band is not None for line in panel.lines)
    assert any(
        "moss needs" in sentence and "more than fern to sink a natural" in sentence for sentence in differ.sentences
    )
    assert charts(content, "Where in the travel they differ")


def test_keyboards_without_a_common_key_are_shown_beside_one_another_and_it_is_said_why_not_compared() -> None:
    content = about(
        recorded(a_keyboard(range(20, 30), instrument="fern")), recorded(a_keyboard(range(50, 60), instrument="moss"))
    )

    assert any("no measured key in common" in text for text in texts(content))
    assert len(charts(content, "Every key at a glance")[0].panels) == 20


def test_recordings_of_one_instrument_are_told_apart_by_their_files() -> None:
    content = about(recorded(a_keyboard((40,)), "before.h5"), recorded(a_keyboard((40,)), "after.h5"))

    assert "a test (before) and a test (after)" in content.title


def test_more_recordings_than_can_be_told_apart_are_refused() -> None:
    five = [recorded(a_keyboard((40,)))] * 5

    with pytest.raises(TooManyRecordings, match="5 recordings"):
        about(*five)


@pytest.mark.parametrize(
    ("units", "force", "length"),
    [
        (Units(), 1.0 / NEWTON_PER_GF, 1.0),
        (Units("N", "mm"), 1.0, 1.0),
        (Units("gf", "in"), 1.0 / NEWTON_PER_GF, 1 / 25.4),
    ],
    ids=["gf,mm", "N,mm", "gf,in"],
)
def test_curves_and_axes_are_in_the_units_asked_for(units: Units, force: float, length: float) -> None:
    result = a_keyboard((40,))
    (panel,) = charts(about(recorded(result), units=units), "Curves")[0].panels
    curve = result.keys[0].curve
    assert curve is not None

    assert panel.lines[0].y == pytest.approx(force * curve.down_newton)
    assert panel.lines[0].x == pytest.approx(length * curve.way_mm)
    assert f"({units.force} uncalibrated)" in panel.y.label
    assert f"({units.length})" in panel.x.label


def test_every_picture_of_an_uncalibrated_recording_carries_the_mark_where_it_shows_force() -> None:
    content = about(recorded(a_keyboard(sticky=STICKY)))
    axes = [
        axis for block in content.blocks() if isinstance(block, Charts) for p in block.panels for axis in (p.x, p.y)
    ]
    forces = [axis.label for axis in axes if "gf" in axis.label]

    assert len(forces) > 90
    assert all("uncalibrated" in label for label in forces)


def test_parts_of_a_waterfall_join_and_end_at_the_force_of_the_notch() -> None:
    result = a_keyboard((40, 41))
    (panel,) = charts(about(recorded(result)), "What the weights are made of")[0].panels
    parts = {bars.look: bars for bars in panel.bars}
    peak = np.array([key["letoff_peak_force"].value for key in result.keys], float) / NEWTON_PER_GF

    assert parts["balance"].high == pytest.approx(parts["friction"].low)
    assert parts["friction"].high == pytest.approx(parts["notch"].low)
    assert parts["notch"].high == pytest.approx(peak)


def test_let_offs_are_laid_over_one_another_with_their_peaks_at_zero() -> None:
    (close_up,) = charts(about(recorded(a_keyboard(range(30, 42)))), "The let-off from close by")
    lines = [line for panel in close_up.panels for line in panel.lines]

    assert len(lines) == 12 + 1
    assert all(abs(line.x[np.argmax(line.y * (line.x < 0.8))]) <= 0.05 for line in lines)


def test_a_note_map_shows_each_place_where_it_was_measured() -> None:
    result = a_keyboard(range(38, 43))
    (panel,) = charts(about(recorded(result)), "Where notes start and stop")[0].panels
    shown = {dots.look: dots.y.tolist() for dots in panel.dots}

    for look, name in (("note on", "trigger_position"), ("peak", "letoff_peak_position"), ("bed", "bed_contact")):
        assert shown[look] == pytest.approx([key[name].value for key in result.keys])


def test_every_look_that_a_report_uses_is_drawn_apart_by_more_than_colour() -> None:
    content = about(
        recorded(a_keyboard(sticky=STICKY, instrument="fern")), recorded(a_keyboard(sticky=STICKY, instrument="moss"))
    )
    for block in content.blocks():
        if isinstance(block, Charts):
            looks = [LOOKS[look] for look, _ in block.legend]
            # only recordings may have the same shape, dash, fill and width: then they are of unequal lightness
            for one in looks:
                for other in looks:
                    if one is not other and replace(one, colour="") == replace(other, colour=""):
                        assert abs(lightness(one.colour) - lightness(other.colour)) > 0.1


def lightness(colour: str) -> float:
    """Return the relative luminance of a colour (ITU-R BT.709 weights, sRGB curve taken as a power of 2.2)."""
    red, green, blue = (int(colour[start : start + 2], 16) / 255.0 for start in (1, 3, 5))
    return float(0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2)


def test_the_report_says_from_what_it_can_be_made_again(tmp_path: Path) -> None:
    (tmp_path / "a.h5").write_bytes(b"abc")
    mark = source_file(tmp_path / "a.h5")
    content = about(Recorded(a_keyboard((40,)), mark), made=Made("keyplumb report a.h5 --units gf,mm", "1.2.3"))
    said = texts(content)

    # SHA-256 of "abc": FIPS 180-4, example of NIST
    assert "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" in said
    assert "keyplumb report a.h5 --units gf,mm" in said
    assert "1.2.3" in said
    assert "feature.bed_newton" in said


def test_no_cell_or_sentence_has_two_blanks_or_a_power_of_ten() -> None:
    content = about(recorded(a_keyboard(sticky=STICKY)))
    beyond = [block for block in content.blocks() if isinstance(block, Folded) and block.title == "Keys beyond chance"]

    assert beyond
    assert [text for text in texts(content) if "  " in text or re.search(r"\de[+-]\d", text)] == []


def test_what_happened_at_the_rig_stands_beside_the_numbers() -> None:
    at = datetime(2026, 3, 1, tzinfo=UTC)
    diary = (DiaryEntry(at, "check", "the rig is fit"), DiaryEntry(at, "cable", "the cable was pulled"))
    content = about(recorded(analyse(a_header(), [a_recording()], QUICK, diary=diary)))
    (rows,) = (
        b.table.rows for b in section(content, "How it was measured") if isinstance(b, TableBlock) and not b.title
    )

    assert ("Check of the rig before", "the rig is fit") in rows
    assert ("Cable", "the cable was pulled") in rows


def test_a_key_of_which_nothing_was_kept_is_missing_with_a_reason() -> None:
    nothing = KeyRecording(C4, RawTrace.none(), RawEvents.none())
    (key,) = analyse(a_header(), [nothing], QUICK).keys

    assert key["down_weight"].value is None
    assert key["down_weight"].reason


def test_a_report_without_a_number_has_no_bars() -> None:
    nothing = a_recording(how=Press(strokes=0, rest_s=2.0))

    assert not charts(about(recorded(analyse(a_header(), [nothing], QUICK))), "What the uncertainties are made of")


def test_bars_of_a_budget_add_up_as_squares() -> None:
    (bars,) = charts(about(recorded(a_keyboard((40,)))), "What the uncertainties are made of")
    for panel in bars.panels:
        total, *lines = (float(one.high[0]) for one in panel.bars)

        assert total**2 == pytest.approx(sum(line**2 for line in lines), rel=1e-6)


def test_a_report_replaces_an_older_one_whole(tmp_path: Path) -> None:
    older, _ = write_report([recorded(a_keyboard((40,), instrument="older"))], tmp_path / "r", Units())
    assert "older: how" in older.read_text(encoding="utf-8")
    html, pdf = write_report([recorded(a_keyboard((40,)))], tmp_path / "r", Units("N", "mm"))

    assert "older: how" not in html.read_text(encoding="utf-8")
    assert pdf.stat().st_size > 5000
    assert sorted(path.name for path in tmp_path.iterdir()) == ["r.html", "r.pdf"]
