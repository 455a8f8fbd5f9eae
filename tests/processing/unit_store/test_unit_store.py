"""What goes into the store comes out of it, once, whoever writes, packs or dies meanwhile."""

from __future__ import annotations

import json
import multiprocessing
import os
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pyarrow as pa
import pytest
from pyarrow import parquet

from processing.errors import NoUnitStore, StoreLibrary
from processing.unit_store import UnitStore, add_unit, adding, folder, pack_folder, packing, schema
from processing.unit_store.schema import ABOUT, store_schema
from recordings.errors import RecordingInUse
from recordings.folder_lock import lock_folder
from tests.processing.unit_store.units import a_unit


def add(store: Path, serial: str | None = "moss-001", model: str = "moss", **how: object) -> Path:
    minutes = how.pop("minutes", 0.0)
    return add_unit(store, a_unit(minutes=minutes), model=model, serial=serial, **how)  # type: ignore[arg-type]


def test_a_unit_comes_out_as_it_went_in(tmp_path: Path) -> None:
    add_unit(
        tmp_path, a_unit({"friction": 0.12, "key_dip": 9.9}), model="moss", serial="moss-001", outcome="fail",
        reasons=[("friction", "C#4"), ("spread:friction", None)],
    )  # fmt: skip
    store = UnitStore(tmp_path)

    unit = store.units().iloc[0]
    assert (unit.serial, unit.model, unit.outcome, unit.rig, unit.calibration) == (
        "moss-001", "moss", "fail", "a rig 1", "missing"
    )  # fmt: skip
    assert unit.measured_at_utc.isoformat() == "2026-03-01T12:00:00"
    friction = store.values("friction")
    assert friction[["key", "colour", "value", "u"]].to_numpy().tolist() == [
        [key, colour, 0.12, 0.001] for key, colour in (("C4", "natural"), ("C#4", "sharp"), ("D4", "natural"))
    ]
    assert store.values("key_dip")["value"].tolist() == [9.9] * 3
    assert store.values("down_weight").empty
    reasons = store.reasons()
    assert reasons["reason"].tolist() == ["spread:friction", "friction"]
    assert reasons["key"].isna().tolist() == [True, False]


def test_a_unit_measured_twice_is_two_measurings_and_the_latest_answers(tmp_path: Path) -> None:
    add(tmp_path, minutes=10.0, outcome="pass")
    add(tmp_path, minutes=0.0, outcome="fail")
    store = UnitStore(tmp_path)

    assert store.units()["outcome"].tolist() == ["pass"]
    assert store.units(which="all")["outcome"].tolist() == ["fail", "pass"]
    assert len(store.values("friction")) == 3
    assert len(store.values("friction", which="all")) == 6


def test_units_without_a_serial_number_are_never_taken_for_one_another(tmp_path: Path) -> None:
    add(tmp_path, serial=None)
    add(tmp_path, serial=None)

    assert len(UnitStore(tmp_path).units()) == 2


def test_the_same_recording_added_again_replaces_what_was_said_before(tmp_path: Path) -> None:
    add(tmp_path, outcome="cannot tell", recording_sha256="ab")
    add(tmp_path, outcome="pass", recording_sha256="ab")

    assert UnitStore(tmp_path).units(which="all")["outcome"].tolist() == ["pass"]


def test_a_reason_about_a_key_that_was_not_recorded_is_kept(tmp_path: Path) -> None:
    add(tmp_path, outcome="fail", reasons=[("missing key", "A0")])

    assert UnitStore(tmp_path).reasons()[["key", "reason"]].to_numpy().tolist() == [["A0", "missing key"]]


@pytest.mark.parametrize("name", ["a/b", "..", "100% [new]*?", "o'hara", "Ähre", "model=x"])
def test_any_name_of_a_model_and_a_unit_will_do(tmp_path: Path, name: str) -> None:
    store = tmp_path / "st[o]re 'of' units"
    add(store, serial=name, model=name)

    assert UnitStore(store).models() == (name,)
    assert UnitStore(store).units(name)["serial"].tolist() == [name]
    assert sorted(path.name for path in tmp_path.iterdir()) == [store.name]


@pytest.mark.parametrize("make", [False, True], ids=["absent", "empty"])
def test_a_store_that_is_absent_or_empty_says_how_units_come_in(tmp_path: Path, make: bool) -> None:
    if make:
        (tmp_path / "store").mkdir()

    with pytest.raises(NoUnitStore, match=r"inspect UNIT.h5 .* --store"):
        UnitStore(tmp_path / "store").units()


def test_damaged_and_foreign_files_are_named_and_left_out(tmp_path: Path) -> None:
    whole = add(tmp_path)
    beside = whole.parent
    (beside / "half.parquet").write_bytes(whole.read_bytes()[:1000])
    (beside / "empty.parquet").write_bytes(b"")
    parquet.write_table(pa.table({"a": [1]}), beside / "foreign.parquet")
    newer = json.dumps({"schema": 99, "replaces": []}).encode()
    parquet.write_table(store_schema().empty_table().replace_schema_metadata({ABOUT: newer}), beside / "newer.parquet")
    (beside / ".x.parquet.7.writing").write_bytes(b"half")
    store = UnitStore(tmp_path)

    assert len(store.units()) == 1
    why = {stranger.path.name: stranger.why for stranger in store.strangers}
    assert sorted(why) == ["empty.parquet", "foreign.parquet", "half.parquet", "newer.parquet"]
    assert "damaged" in why["half.parquet"]
    assert "newer keyplumb (schema 99" in why["newer.parquet"]
    pack_folder(beside)
    assert {*why} <= {path.name for path in beside.iterdir()}


def test_a_flipped_bit_is_noticed_by_who_looks_thoroughly_and_is_never_packed(tmp_path: Path) -> None:
    whole, rotten = add(tmp_path, "moss-1"), add(tmp_path, "moss-2")
    column = next(
        place for place in range(parquet.read_metadata(rotten).num_columns)
        if parquet.read_metadata(rotten).schema.column(place).name == "friction"
    )  # fmt: skip
    at = parquet.read_metadata(rotten).row_group(0).column(column)
    data = bytearray(rotten.read_bytes())
    data[(at.dictionary_page_offset or at.data_page_offset) + at.total_compressed_size - 3] ^= 0x01
    rotten.write_bytes(data)

    store = UnitStore(tmp_path, thorough=True)

    assert store.units()["serial"].tolist() == ["moss-1"]
    assert [(found.path, "damaged inside" in found.why) for found in store.strangers] == [(rotten, True)]
    assert pack_folder(whole.parent) is None
    assert rotten.exists()


def test_a_file_that_cannot_be_read_is_left_out_though_nobody_looked_thoroughly(tmp_path: Path) -> None:
    add(tmp_path, "moss-1")
    rotten = add(tmp_path, "moss-2")
    data = bytearray(rotten.read_bytes())
    data[4:400] = bytes(396)
    rotten.write_bytes(data)
    store = UnitStore(tmp_path)

    assert store.units()["serial"].tolist() == ["moss-1"]
    assert [found.path for found in store.strangers] == [rotten]


def test_a_wrong_question_is_told_at_once(tmp_path: Path) -> None:
    add(tmp_path)

    with pytest.raises(duckdb.Error, match="no_such_column"):
        UnitStore(tmp_path).query("select no_such_column from rows")


def test_packing_changes_no_answer(tmp_path: Path) -> None:
    for number in range(5):
        add(tmp_path, f"moss-{number}", minutes=number, outcome="fail", reasons=[("friction", "C4")])
    store = UnitStore(tmp_path)
    before = [store.units(), store.values("friction"), store.reasons()]

    packed = pack_folder(tmp_path / "model=moss")

    assert packed is not None
    assert [path.name for path in packed.parent.glob("*.parquet")] == [packed.name]
    for told, again in zip(before, [store.units(), store.values("friction"), store.reasons()], strict=True):
        assert told.equals(again)


def test_a_packing_that_died_before_it_deleted_doubles_nothing_and_the_next_one_finishes_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(3):
        add(tmp_path, f"moss-{number}")
    model = tmp_path / "model=moss"
    with monkeypatch.context() as dying:
        dying.setattr(packing, "_delete", lambda *_: None)
        first = pack_folder(model)
    assert len(list(model.glob("*.parquet"))) == 4
    assert len(UnitStore(tmp_path).units()) == 3

    add(tmp_path, "moss-3")
    second = pack_folder(model)

    assert [path.name for path in model.glob("*.parquet")] == [second.name]  # type: ignore[union-attr]
    assert second != first
    assert len(UnitStore(tmp_path).units(which="all")) == 4


def test_a_file_that_is_packed_away_while_it_is_asked_is_found_again(tmp_path: Path) -> None:
    for number in range(3):
        add(tmp_path, f"moss-{number}")
    store = UnitStore(tmp_path)
    listed = store._lister.listing(store._folders())
    pack_folder(tmp_path / "model=moss")
    answers = iter([listed])
    again = store._lister.listing
    store._lister.listing = lambda folders: next(answers, None) or again(folders)  # type: ignore[method-assign]

    assert len(store.units()) == 3


def test_a_listing_that_a_packing_overtakes_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The parts are deleted before the listing reaches them, the packed file is published behind it."""
    for number in range(3):
        add(tmp_path, f"moss-{number}")
    model = tmp_path / "model=moss"
    packed, calls, real = pack_folder(model), [], folder._parquet_files

    def overtaken(asked: Path) -> Iterator[Path]:
        calls.append(asked)
        return iter(()) if len(calls) == 1 else real(asked)

    monkeypatch.setattr(folder, "_parquet_files", overtaken)

    assert [file.path for file in folder.Lister().listing([model]).files] == [packed]


def test_older_files_with_fewer_columns_are_read_and_packed_with_newer_ones(tmp_path: Path) -> None:
    older = add(tmp_path, "moss-0")
    table = parquet.ParquetFile(older).read()
    parquet.write_table(table.drop_columns(["letoff_ratio", "letoff_ratio_u"]), older)
    add(tmp_path, "moss-1")

    assert len(UnitStore(tmp_path).values("friction")) == 6
    pack_folder(older.parent)
    assert len(UnitStore(tmp_path).values("friction")) == 6


def test_only_one_program_packs_at_a_time(tmp_path: Path) -> None:
    model = add(tmp_path).parent

    with lock_folder(model), pytest.raises(RecordingInUse):
        pack_folder(model)


def test_a_measuring_is_never_written_over_another(tmp_path: Path) -> None:
    paths = {add(tmp_path) for _ in range(20)}

    assert len(paths) == 20
    assert all(path.is_file() for path in paths)


def test_without_its_libraries_the_store_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schema, "LIBRARIES", ("no_such_library",))

    with pytest.raises(StoreLibrary, match=r"keyplumb\[line\]"):
        add(tmp_path)


WRITERS, EACH = 2, 24


def _write(store: Path, writer: int) -> None:
    adding.LOOSE = 8  # so that packing happens all the time
    for number in range(EACH):
        add_unit(store, a_unit(), model="moss", serial=f"{writer}-{number:02d}")


@pytest.mark.skipif(os.name != "posix", reason="folders are locked on POSIX only")
def test_several_programs_write_and_pack_while_one_reads_and_no_unit_is_lost_or_doubled(tmp_path: Path) -> None:
    add(tmp_path, "first")
    store, seen = UnitStore(tmp_path), 0
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_write, args=(tmp_path, writer)) for writer in range(WRITERS)]
    for writer in writers:
        writer.start()
    while any(writer.is_alive() for writer in writers):
        serials = store.units(which="all")["serial"].tolist()
        assert len(serials) == len(set(serials)) >= seen  # none doubled, none lost
        seen = len(serials)
    for writer in writers:
        writer.join()

    assert [writer.exitcode for writer in writers] == [0] * WRITERS
    assert sorted(store.units(which="all")["serial"]) == sorted(
        ["first", *(f"{writer}-{number:02d}" for writer in range(WRITERS) for number in range(EACH))]
    )
    assert len(store.values("friction")) == 3 * (WRITERS * EACH + 1)
    assert any(path.name.startswith("packed_") for path in (tmp_path / "model=moss").iterdir())
