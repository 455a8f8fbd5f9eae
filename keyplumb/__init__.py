"""The front door: what a notebook user needs, each loaded when it is first asked for.

import keyplumb
result = keyplumb.measure("fern.h5")
result.keys["C4"].plot()
result.table()              # pandas, one row a key, units in the column names
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.3.0"
__all__ = ["Measured", "__version__", "measure", "open"]

if TYPE_CHECKING:
    from keyplumb.api import Measured, measure, open  # noqa: A004


def __getattr__(name: str) -> Any:
    """Load the public API on first use: numpy and its kin must not slow down `keyplumb --help`."""
    if name in __all__:
        return getattr(import_module("keyplumb.api"), name)
    raise AttributeError(f"module 'keyplumb' has no attribute {name!r}")
