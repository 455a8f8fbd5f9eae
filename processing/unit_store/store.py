"""Questions to the store.

How it works: duckdb reads the Parquet files where they lie. A question lists the files that count just then; what a
packing takes away meanwhile is noticed and asked again. A file that cannot be read is looked for, named and left out;
but duckdb reads many a flipped bit as just another number, so who wants to be sure opens the store thoroughly. Of a
recording added twice only what was said last counts; of a unit measured twice the latest measuring, unless all are
asked for.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from processing.errors import NoUnitStore, StoreUnsettled
from processing.features.table import FEATURES
from processing.unit_store.folder import FOLDER_PREFIX, MOST_LISTINGS, Lister, Listing, Stranger, model_folders
from processing.unit_store.schema import demand_libraries

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

Which = Literal["latest", "all"]
OF_A_MEASURING = (
    "measuring_id, model, serial, measured_at_utc, added_at_utc, operator, rig, calibration, calibration_id, "
    "software_version, recording_sha256, outcome"
)
MEASURINGS = f"""
create or replace temp table measurings as
with said as (
    select {OF_A_MEASURING}, reasons, row_number() over (
        partition by coalesce(recording_sha256, measuring_id) order by added_at_utc desc, measuring_id desc) as said
    from rows where number is null)
select * exclude (said), row_number() over (
    partition by model, coalesce(serial, measuring_id)
    order by measured_at_utc desc, added_at_utc desc, measuring_id desc) = 1 as latest
from said where said = 1
"""


class UnitStore:
    """A store of units, open for questions. Raises NoUnitStore if nothing is there, StoreLibrary.

    thorough: hold every page of every file against its checksum first, once: about a second for a million rows.
    """

    def __init__(self, path: Path, *, thorough: bool = False) -> None:
        demand_libraries()
        if not path.is_dir():
            raise NoUnitStore(path, "no store of units there")
        self.path = path
        self._lister = Lister(thorough=thorough)
        self._listing: Listing | None = None
        self._connection: duckdb.DuckDBPyConnection | None = None

    @property
    def strangers(self) -> tuple[Stranger, ...]:
        """Return damaged and foreign files, which are left out of every answer."""
        return self._lister.listing(self._folders()).strangers

    def models(self) -> tuple[str, ...]:
        """Return the models of which there are units."""
        return tuple(self.query("select distinct model from measurings order by model")["model"])

    def units(self, model: str | None = None, *, which: Which = "latest") -> pd.DataFrame:
        """Return a row a measuring, oldest first: ids, times, operator, rig, calibration, outcome."""
        return self.query(
            f"select {OF_A_MEASURING}, latest from measurings where {_wanted(which)} and ($1 is null or model = $1) "
            "order by measured_at_utc, measuring_id",
            [model],
        )

    def values(self, measurand: str, model: str | None = None, *, which: Which = "latest") -> pd.DataFrame:
        """Return value and u of a measurand, in its unit, a row a key, oldest unit first, keys from the left.

        Columns: measuring_id, serial, measured_at_utc, number, key, colour, value, u. Keys without a value are left
        out.
        """
        if measurand not in {feature.name for feature in FEATURES}:
            raise ValueError(f"{measurand!r} is no measurand; they are listed under `keyplumb measure`")
        return self.query(
            f"select measuring_id, rows.serial, rows.measured_at_utc, number, key, colour, {measurand} as value, "
            f"{measurand}_u as u from rows join measurings using (measuring_id) "
            f"where {_wanted(which)} and {measurand} is not null and ($1 is null or rows.model = $1) "
            "order by rows.measured_at_utc, measuring_id, number",
            [model],
        )

    def reasons(self, model: str | None = None, *, which: Which = "latest") -> pd.DataFrame:
        """Return why units are not good: measuring_id, serial, key (None: the unit as a whole), reason."""
        return self.query(
            "select measuring_id, rows.serial, key, unnest(rows.reasons) as reason "
            "from rows join measurings using (measuring_id) "
            f"where {_wanted(which)} and ($1 is null or rows.model = $1) "
            "order by rows.measured_at_utc, measuring_id, number nulls first, reason",
            [model],
        )

    def query(self, sql: str, parameters: Sequence[Any] = ()) -> pd.DataFrame:
        """Return the answer to any question in SQL.

        Tables: `rows` (see schema.py: a row a key and one a unit, of every file) and `measurings` (a row a measuring,
        with `latest`). Raises NoUnitStore if there is no unit, StoreUnsettled, and duckdb's own errors.
        """
        import duckdb

        for _ in range(MOST_LISTINGS):
            listing = self._lister.listing(self._folders())
            try:
                return self._opened(listing).execute(sql, list(parameters)).df()
            except duckdb.ProgrammingError:  # the question itself is wrong
                raise
            except duckdb.Error:
                self._listing = None
                whole = all(file.path.exists() for file in listing.files)  # else packed away since
                if whole and not self._lister.look_thoroughly():
                    raise
        raise StoreUnsettled(self.path)

    def _opened(self, listing: Listing) -> duckdb.DuckDBPyConnection:
        """Return a connection in which `rows` and `measurings` are what a listing holds."""
        import duckdb

        if not listing.files:
            raise NoUnitStore(self.path, "the store holds no unit")
        if self._connection is None or self._listing is None or listing.files != self._listing.files:
            self._connection = self._connection or duckdb.connect(config={"autoload_known_extensions": False})
            self._connection.execute(f"create or replace temp view rows as select * from {_files(listing)}")
            self._connection.execute(MEASURINGS)
            self._listing = listing
        return self._connection

    def _folders(self) -> list[Path]:
        folders = model_folders(self.path)
        if not folders:
            raise NoUnitStore(self.path, f"no folder {FOLDER_PREFIX}... in it, so no store of units, or an empty one")
        return folders


def _files(listing: Listing) -> str:
    """Return the files as a table of duckdb."""
    quoted = ", ".join("'" + _literal(file.path) + "'" for file in listing.files)
    differ = len({file.columns for file in listing.files}) > 1
    return f"read_parquet([{quoted}], hive_partitioning = false, union_by_name = {str(differ).lower()})"


def _literal(path: Path) -> str:
    """Return a path as duckdb reads it: signs that would stand for several files mean themselves."""
    return re.sub(r"([*?\[])", r"[\1]", str(path)).replace("'", "''")


def _wanted(which: Which) -> str:
    return "latest" if which == "latest" else "true"
