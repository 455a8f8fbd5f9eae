"""How far the numbers are from the virtual rig's truths, for both demo keyboards: `make accuracy`.

Each keyboard is surveyed through a pseudo-terminal on the default noise; the table is the demo's own.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from keyplumb.__main__ import main


def run() -> int:
    """Run both demos and return the worse of their exit codes."""
    with tempfile.TemporaryDirectory() as folder:
        return max(main(["demo", "--scenario", name, "--out", str(Path(folder))]) for name in ("fern", "moss"))


if __name__ == "__main__":
    sys.exit(run())
