"""How wide words are on paper, and how they are broken into lines and columns, by the font's own widths."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ft2font import FT2Font

from processing.report.key_table import Table

EM = 100.0
POINTS_AN_INCH = 72.0
GAP_INCHES = 0.1
"""Between two columns."""


LACKING = "□"
"""Stands for a letter that the font does not have: a name in another script is never a reason for no page."""


def _font(weight: str) -> FT2Font:
    return get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))


@cache
def _letters() -> frozenset[int]:
    """Return the letters that can be drawn in normal and in bold."""
    return frozenset(_font("normal").get_charmap()) & frozenset(_font("bold").get_charmap())


def shown(words: str) -> str:
    """Return a text as it can be drawn in one line: white space as spaces, unknown letters as boxes.

    >>> shown("moss\\t鍵")
    'moss □'
    """
    spaced = "".join(" " if letter in "\t\n\r\v\f\x85\u2028\u2029" else letter for letter in words)
    return "".join(letter if ord(letter) in _letters() else LACKING for letter in spaced)


@cache
def _advance(letter: str, weight: str) -> float:
    """Return how far a letter moves on, in parts of the font's size."""
    font = _font(weight)
    font.set_size(EM, POINTS_AN_INCH)
    return float(font.load_char(ord(letter)).linearHoriAdvance / 65536.0 / EM)


def width_inches(words: str, size: float, weight: str = "normal") -> float:
    """Return how wide one line of text is, as it is shown."""
    return sum(_advance(letter, weight) for letter in shown(words)) * size / POINTS_AN_INCH


def unbreakable(words: str) -> str:
    """Return a text in which a number keeps its sign and its unit of one letter beside it: "± 5", "95 %"."""
    return words.replace("± ", "±\u00a0").replace(" %", "\u00a0%")


def broken(words: str, size: float, wide_inches: float, weight: str = "normal") -> list[str]:
    """Return the lines of a text, as it is shown; a word wider than the line is cut: nothing runs off the page."""
    lines, line = [], ""
    for word in unbreakable(shown(words)).split(" "):
        joined = f"{line} {word}" if line else word
        if width_inches(joined, size, weight) <= wide_inches:
            line = joined
            continue
        if line:
            lines.append(line)
        *whole, line = _cut(word, size, wide_inches, weight)
        lines += whole
    return [*lines, line]


def _cut(word: str, size: float, wide_inches: float, weight: str) -> list[str]:
    pieces, piece = [], ""
    for letter in word:
        if piece and width_inches(piece + letter, size, weight) > wide_inches:
            pieces.append(piece)
            piece = ""
        piece += letter
    return [*pieces, piece]


def column_widths(table: Table, size: float, head_size: float, wide_inches: float) -> list[float]:
    """Return the width of each column: as wide as its longest cell, the widest made narrower until all fit.

    Words stay whole as long as there is room for those of all columns.
    """
    columns = list(zip(*table.rows, strict=True)) if table.rows else [()] * len(table.heads)
    natural = [
        max([*(width_inches(cell, size, "bold") for cell in cells), _longest_word(head, head_size)])
        for head, cells in zip(table.heads, columns, strict=True)
    ]
    room = wide_inches - GAP_INCHES * (len(natural) - 1)
    words = [
        max(_longest_word(head, head_size), *(_longest_word(unbreakable(cell), size) for cell in cells), 0.0)
        for head, cells in zip(table.heads, columns, strict=True)
    ]
    least = words if sum(words) <= room else [0.0] * len(words)
    widest = max(natural)
    while sum(natural) > room and widest > 0.3:
        widest -= 0.02
        natural = [max(low, min(width, widest)) for width, low in zip(natural, least, strict=True)]
    return natural


def _longest_word(words: str, size: float) -> float:
    return max((width_inches(word, size, "bold") for word in words.split(" ")), default=0.0)


def row_lines(row: Sequence[str], widths: Sequence[float], size: float, weight: str = "normal") -> list[list[str]]:
    """Return the lines of every cell of a row."""
    return [broken(cell, size, width, weight) for cell, width in zip(row, widths, strict=True)]
