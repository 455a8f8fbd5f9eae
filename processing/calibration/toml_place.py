"""Where in a TOML text a key of one table of an array stands, and how a person counts it."""

from __future__ import annotations

from collections.abc import Sequence

from rig.profiles.toml_place import line_of_key


def in_words(key: Sequence[str | int]) -> str:
    """Return a key as a person counts: masses.2.nominal_g is that of the second mass."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in key)


def line_below_heading(text: str, heading: str, key: Sequence[str | int]) -> int | None:
    """Return the line of a key, or that of its table, which stands below one of several equal headings."""
    if len(key) < 2 or not isinstance(key[1], int):
        return line_of_key(text, key)
    heads = [number for number, line in enumerate(text.splitlines(), 1) if line.strip().startswith(heading)]
    if key[1] >= len(heads):
        return None
    first = heads[key[1]]
    last = heads[key[1] + 1] - 1 if key[1] + 1 < len(heads) else len(text.splitlines())
    below = line_of_key("\n".join(text.splitlines()[first:last]), key[2:]) if key[2:] else None
    return first if below is None else first + below
