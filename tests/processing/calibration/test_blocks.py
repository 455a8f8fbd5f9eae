"""Gauge blocks: their list, and one taken for another."""

from __future__ import annotations

import pytest

from processing.calibration.block_list import parse_block_list
from processing.calibration.block_mistakes import BlockPress, find_block_mistakes
from processing.calibration.errors import MalformedBlockList

LIST = """
[[block]]
name = "b5"
nominal_mm = 5.0
grade = "1"

[[block]]
name = "b10"
nominal_mm = 10.0
certified_mm = 10.00012
expanded_uncertainty_um = 0.10
k = 2.0
"""
LENGTHS = {"table": 0.0, "b2": 2.0, "b5": 5.0, "b10": 10.0, "b15": 15.0}


def test_a_certificate_goes_before_a_grade() -> None:
    blocks = parse_block_list(LIST, "blocks.toml")

    assert blocks.find("b10").gauge_block.length_mm == 10.00012
    assert blocks.find("b10").gauge_block.u_mm == pytest.approx(0.00005)
    assert 0.00005 < blocks.find("b5").gauge_block.u_mm < 0.0003  # 0.2 um as a rectangle, ISO 3650 grade 1


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ('grade = "1"\n\n', "blocks.toml, line 2: block.1: give its certificate"),
        ("nominal_mm = 5.0", "blocks.toml, line 2: block.1.nominal_mm: is missing"),
        ("k = 2.0", "blocks.toml, line 12: block.2.kk: a block list has no such key"),
        ('grade = "1"', "there is no gauge block '9, 5 mm'"),
    ],
)
def test_a_wrong_list_is_told_with_its_line(wrong: str, told: str) -> None:
    instead = {"k = 2.0": "kk = 2.0", 'grade = "1"': 'grade = "9"'}.get(wrong, "")

    with pytest.raises(MalformedBlockList) as fault:
        parse_block_list(LIST.replace(wrong, instead, 1), "blocks.toml")
    assert told in str(fault.value)


def presses(*laid: str, asked: tuple[str, ...] = ("table", "b2", "b5", "b10", "b15")) -> list[BlockPress]:
    """Press on what was laid there, with a gauge of 2 um steps that is off by 1 %."""
    return [
        BlockPress(name, LENGTHS[name], 11000.0 - LENGTHS[there] / 0.00202)
        for name, there in zip(asked, laid or asked, strict=True)
    ]


def test_blocks_as_asked_for_raise_nothing() -> None:
    assert find_block_mistakes(presses(), LENGTHS) == ()


def test_a_block_in_place_of_another_is_named() -> None:
    (fault,) = find_block_mistakes(presses("table", "b5", "b5", "b10", "b15"), LENGTHS)

    assert fault.code == "block_in_place_of_another"
    assert "b5 lay in place of b2" in fault.words
    assert fault.press == 1


def test_dirt_under_a_block_is_told_as_such() -> None:
    dirty = presses()
    dirty[3] = BlockPress("b10", 10.0, 11000.0 - 10.15 / 0.00202)

    (fault,) = find_block_mistakes(dirty, LENGTHS)

    assert fault.code == "dirt_or_wrong_reading"
    assert "dirt under the block" in fault.words
