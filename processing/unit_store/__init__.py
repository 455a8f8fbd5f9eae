"""The store of units: an append-only folder of Parquet files, one a measuring, asked through duckdb.

`add_unit` writes, `UnitStore` answers, `pack_folder` makes few large files of many small ones.
"""

from processing.unit_store.adding import add_unit
from processing.unit_store.packing import pack_folder
from processing.unit_store.store import UnitStore

__all__ = ["UnitStore", "add_unit", "pack_folder"]
