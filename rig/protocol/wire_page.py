"""The page on the wire protocol in DEVELOPERS.md, written from the message table; a test keeps the two equal."""

from __future__ import annotations

from rig.protocol.table import MESSAGE_TABLE, MessageRow, field_names

BEGIN, END = "<!-- wire table: begin -->", "<!-- wire table: end -->"


def wire_page() -> str:
    """Return the Markdown table of all messages, one row a kind.

    >>> wire_page().splitlines()[0]
    '| kind | sender | message | fields | packed as | bytes | meaning |'
    """
    head = "| kind | sender | message | fields | packed as | bytes | meaning |\n|---|---|---|---|---|---|---|"
    return "\n".join([head, *map(_line, MESSAGE_TABLE)])


def _line(row: MessageRow) -> str:
    names = ", ".join(f"`{name}`" for name in field_names(row)) or "none"
    packed, size = f"`{row.fixed.format}`", str(row.fixed.size)
    if row.rows is not None:
        columns = ", ".join(f"{name} {row.rows[name].str}" for name in row.rows.names or ())
        packed, size = f"{packed}, then rows of ({columns})", f"{size} + {row.rows.itemsize} n"
    meaning = (row.message.__doc__ or "").strip().splitlines()[0]
    return f"| 0x{row.kind:02x} | {row.sender} | {row.message.__name__} | {names} | {packed} | {size} | {meaning} |"


def put_wire_page(markdown: str) -> str:
    """Return a Markdown text with the table between its two marks made anew. Raises ValueError without the marks."""
    before, rest = markdown.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{wire_page()}\n{END}{after}"


if __name__ == "__main__":
    from pathlib import Path

    page = Path(__file__).parents[2] / "DEVELOPERS.md"
    page.write_text(put_wire_page(page.read_text(encoding="utf-8")), encoding="utf-8")
