"""The front door: what a notebook user needs, each loaded when it is first asked for.

import keyplumb
fern = keyplumb.open("fern.h5")
fern.keys["C4"].curve.plot()     # matplotlib
fern.keys["C4"]["down_weight"]   # a number with unit, uncertainty, flags
fern.frame()                     # pandas, one row a key, units in the column names
keyplumb.compare("fern.h5", "moss.h5").sentences()
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.4.0"
__all__ = ["Compared", "Measured", "OpenedRecording", "__version__", "compare", "measure", "open"]

if TYPE_CHECKING:
    from keyplumb.api import Compared, Measured, OpenedRecording, compare, measure, open  # noqa: A004


def __getattr__(name: str) -> Any:
    """Load the public API on first use: numpy and its kin must not slow down `keyplumb --help`."""
    if name in __all__:
        return getattr(import_module("keyplumb.api"), name)
    raise AttributeError(f"module 'keyplumb' has no attribute {name!r}")
