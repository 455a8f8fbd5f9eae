"""Where in a TOML text a key stands, so that a fault can be told with its line.

How it works: a key stands in the first run of lines that makes it appear when the text is parsed line by line. The
TOML parser itself is asked, so quoted, dotted and inline keys need no rules of their own. Profiles are short.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from typing import Any


def line_of_key(text: str, key: Sequence[str | int]) -> int | None:
    """Return the line, from 1, in which a key of a valid TOML text stands; that of its table if the key is missing.

    None: not even the table is there.
    >>> line_of_key('a = 1\\n[b]\\nc = 2\\n', ("b", "c"))
    3
    """
    while key:
        line = _first_line_with(text.splitlines(), key)
        if line is not None:
            return line
        key = key[:-1]
    return None


def _first_line_with(lines: list[str], key: Sequence[str | int]) -> int | None:
    whole_up_to = 0
    for count in range(1, len(lines) + 1):
        try:
            parsed = tomllib.loads("\n".join(lines[:count]))
        except tomllib.TOMLDecodeError:  # in the middle of a value of several lines
            continue
        if _holds(parsed, key):
            return whole_up_to + 1
        whole_up_to = count
    return None


def _holds(parsed: Any, key: Sequence[str | int]) -> bool:
    for part in key:
        is_there = (
            part < len(parsed)
            if isinstance(parsed, list) and isinstance(part, int)
            else (isinstance(parsed, dict) and part in parsed)
        )
        if not is_there:
            return False
        parsed = parsed[part]
    return True
