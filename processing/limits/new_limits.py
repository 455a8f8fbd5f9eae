"""A limits file to begin with: an example with a comment at every entry, and itself valid."""

from __future__ import annotations

from pathlib import Path

from processing.errors import FileIsThere
from recordings.errors import CannotWrite

EXAMPLE = Path(__file__).parent / "example.toml"


def write_new_limits(path: Path) -> None:
    """Write the example. Raises FileIsThere if there is a file of that name, CannotWrite."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(EXAMPLE.read_text(encoding="utf-8"))
    except FileExistsError as fault:
        raise FileIsThere(path, "choose another name") from fault
    except OSError as fault:
        raise CannotWrite(path, fault.strerror or str(fault)) from fault
