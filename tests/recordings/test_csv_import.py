"""Tables of other rigs: every form the contract allows gives the same recording; every bad row is refused by line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from recordings.csv_import import ImportChoices, import_table
from recordings.errors import MalformedTable, NoSuchFile, UnknownUnit
from recordings.keys import Key
from recordings.text_table import ColumnChoice
from recordings.types import CONTACT, MIDI_IN, Recording
from recordings.units import factor_to_ours
from tests.builders import C4

N = 40
TIME_S = np.arange(N) * 0.001
WAY_MM = np.linspace(-1.0, 9.0, N)
FORCE_N = np.linspace(0.0, 3.0, N)
CHOICES = ImportChoices(key=C4)


def rows(*columns: np.ndarray, separator: str = ",") -> str:
    return "".join(separator.join(f"{value:.9g}" for value in row) + "\n" for row in zip(*columns, strict=True))


def imported(text: str, tmp_path: Path, choices: ImportChoices = CHOICES, events: str | None = None) -> Recording:
    (tmp_path / "x.csv").write_text(text)
    if events is None:
        return import_table(tmp_path / "x.csv", choices)
    (tmp_path / "e.csv").write_text(events)
    return import_table(tmp_path / "x.csv", choices, events=tmp_path / "e.csv")


def as_read(recording: Recording) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    trace = recording.keys[0].trace
    return trace.tick_us * 1e-6, trace.displacement_counts * 1e-6, trace.force_counts * 1e-6


PLAIN = "time_s,displacement_mm,force_N\n" + rows(TIME_S, WAY_MM, FORCE_N)
TWO_FORCES = "time_s,displacement_mm,force_N,force_gf\n" + rows(TIME_S, WAY_MM, FORCE_N, FORCE_N)


STILL = "time_s,displacement_mm,force_N\n" + rows(0.0 * TIME_S, WAY_MM, FORCE_N)


def with_keys(name: str, later_s: float = 0.0) -> str:
    body = rows(TIME_S + later_s, WAY_MM, FORCE_N).replace("\n", f",{name}\n")
    return "time_s,displacement_mm,force_N,key\n" + body


@pytest.mark.parametrize(
    ("text", "choices"),
    [
        pytest.param(PLAIN, CHOICES, id="as in the contract"),
        pytest.param("# a rig\n\nrun 7, 4 mm/s\n" + PLAIN, CHOICES, id="lines before the table"),
        pytest.param("\ufeff" + PLAIN, CHOICES, id="a byte order mark"),
        pytest.param(PLAIN.replace("\n", "\r\n"), CHOICES, id="line ends of another system"),
        pytest.param(PLAIN + "\n\n", CHOICES, id="empty lines after it"),
        pytest.param(
            "Force_mN, extra ,time_ms,DISPLACEMENT_um\n" + rows(FORCE_N * 1e3, WAY_MM, TIME_S * 1e3, WAY_MM * 1e3),
            CHOICES,
            id="other order, other units, one column more",
        ),
        pytest.param(
            "time_us,displacement_in,force_gf\n" + rows(TIME_S * 1e6, WAY_MM / 25.4, FORCE_N / 0.00980665),
            CHOICES,
            id="inches and gram-force",
        ),
        pytest.param(
            ("time_s;displacement_mm;force_N\n" + rows(TIME_S, WAY_MM, FORCE_N, separator=";")).replace(".", ","),
            CHOICES,
            id="semicolons and decimal commas",
        ),
        pytest.param(PLAIN.replace(",", "\t"), CHOICES, id="tabs"),
        pytest.param(
            "displacement_mm,force_N\n" + rows(WAY_MM, FORCE_N), replace(CHOICES, rate_hz=1000.0), id="a rate, no time"
        ),
        pytest.param(
            "no header\n" + rows(TIME_S, WAY_MM, FORCE_N / 0.00980665),
            replace(
                CHOICES,
                columns=(
                    ColumnChoice("time", "1", "s"),
                    ColumnChoice("displacement", "2", "mm"),
                    ColumnChoice("force", "3", "gf"),
                ),
            ),
            id="no header, columns by number",
        ),
        pytest.param(
            "time_s,Travel,Load (N)\n" + rows(TIME_S, WAY_MM, FORCE_N),
            replace(
                CHOICES,
                columns=(ColumnChoice("displacement", "Travel", "mm"), ColumnChoice("force", "Load (N)", "N")),
            ),
            id="columns by name",
        ),
        pytest.param("1,2,3\n" + PLAIN, replace(CHOICES, skip_lines=1), id="lines to be skipped"),
        pytest.param(with_keys("C4"), ImportChoices(), id="a column of keys"),
    ],
)  # fmt: skip
def test_every_form_of_the_contract_gives_the_same_samples(text: str, choices: ImportChoices, tmp_path: Path) -> None:
    time, way, force = as_read(imported(text, tmp_path, choices))

    assert time == pytest.approx(TIME_S, abs=1e-6)
    assert way == pytest.approx(WAY_MM, abs=2e-6)
    assert force == pytest.approx(FORCE_N, abs=2e-6)


@pytest.mark.parametrize(
    ("quantity", "unit", "factor"),
    [
        pytest.param("force", "gf", 0.00980665, id="standard gravity, CGPM 1901"),
        pytest.param("force", "ozf", 0.2780138509537812, id="oz 28.349523125 g by international yard and pound 1959"),
        pytest.param("force", "lbf", 4.4482216152605, id="lb 0.45359237 kg by international yard and pound 1959"),
        pytest.param("force", "kgf", 9.80665, id="standard gravity"),
        pytest.param("displacement", "in", 25.4, id="inch 25.4 mm by international yard and pound 1959"),
        pytest.param("time", "ms", 1000.0, id="in us"),
    ],
)
def test_units_have_their_legal_factors(quantity: str, unit: str, factor: float) -> None:
    assert factor_to_ours(quantity, unit) == pytest.approx(factor, rel=1e-14)


def test_an_unknown_unit_names_the_known_ones() -> None:
    with pytest.raises(UnknownUnit, match="gf kgf ozf lbf"):
        factor_to_ours("force", "dyn")


def bad_line(number: int, text: str) -> str:
    lines = PLAIN.splitlines()
    lines[number - 1] = text
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "line", "told"),
    [
        pytest.param("", None, "empty", id="an empty file"),
        pytest.param("\n \n", None, "empty", id="a blank file"),
        pytest.param("time_s,displacement_mm,force_N\n", 1, "no rows", id="a header alone"),
        pytest.param("a,b,c\n1,2,3\n", None, "force=3:gf", id="other names"),
        pytest.param("just words\n" * 30, None, "no line names", id="no table"),
        pytest.param(PLAIN.replace("force_N", "force_kg"), 1, "'kg' is no unit of force", id="a wrong unit"),
        pytest.param(PLAIN.replace("time_s", "moment"), 1, "--rate", id="no time"),
        pytest.param(PLAIN.replace("displacement_mm", "x"), 1, "no column for displacement", id="no displacement"),
        pytest.param(TWO_FORCES, 1, "two columns give force", id="two forces"),
        pytest.param(bad_line(7, "0.005,high,1"), 7, "'high'", id="text that is no number"),
        pytest.param(bad_line(7, "0.005,,1"), 7, "displacement is missing", id="an empty cell"),
        pytest.param(bad_line(7, "0.005,nan,1"), 7, "no finite number", id="not a number"),
        pytest.param(bad_line(7, "0.005,inf,1"), 7, "no finite number", id="infinity"),
        pytest.param(bad_line(7, "0.005,1"), 7, "force is missing", id="a short row"),
        pytest.param(bad_line(7, "0.005,1,1,1"), 7, "4 columns", id="a long row"),
        pytest.param(bad_line(7, "0.001,1,1"), 7, "time goes back", id="time going back"),
        pytest.param(bad_line(7, "1e300,1,1"), 7, "beyond all recordings", id="a time beyond all recordings"),
        pytest.param(STILL, 41, "stands still", id="time standing still"),
        pytest.param(bad_line(7, "0.005,1,9e9"), 7, "really in N", id="a force beyond all keyboards"),
        pytest.param("time_s,displacement_mm,force_N\n0,0,0\n1,1,1\n", None, "at least 20", id="too few rows"),
        pytest.param(with_keys("C4"), None, "leave --key out", id="key twice"),
    ],
)  # fmt: skip
def test_a_bad_table_is_refused_with_line_and_reason(text: str, line: int | None, told: str, tmp_path: Path) -> None:
    with pytest.raises(MalformedTable) as refused:
        imported(text, tmp_path)

    assert refused.value.line == line
    assert told in str(refused.value)
    assert "x.csv" in str(refused.value)


def test_a_missing_and_a_binary_file_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(NoSuchFile):
        import_table(tmp_path / "no.csv", CHOICES)
    (tmp_path / "b.csv").write_bytes(bytes(100))
    with pytest.raises(MalformedTable, match="no text file"):
        import_table(tmp_path / "b.csv", CHOICES)


def test_many_keys_in_one_file_are_told_apart(tmp_path: Path) -> None:
    recording = imported(with_keys("D4") + with_keys("40").split("\n", 1)[1], tmp_path, ImportChoices())

    assert [key.key.name for key in recording.keys] == ["D4", "C4"]
    assert [len(key.trace) for key in recording.keys] == [N, N]


def test_an_unknown_key_is_refused_by_line(tmp_path: Path) -> None:
    with pytest.raises(MalformedTable, match="line 2: 'H4' is no key"):
        imported(with_keys("H4"), tmp_path, ImportChoices())


def test_events_become_midi_bytes_and_edges_with_their_times(tmp_path: Path) -> None:
    told = "time_s,event,velocity\n0.01,note_on,64\n0.015,contact_closed,\n0.02,note_off,\n"
    events = imported(PLAIN, tmp_path, events=told).keys[0].events

    assert events.tick_us.tolist() == [10_000] * 3 + [15_000] + [20_000] * 3
    assert events.source.tolist() == [MIDI_IN] * 3 + [CONTACT] + [MIDI_IN] * 3
    assert events.byte.tolist() == [0x90, 60, 64, 1, 0x80, 60, 64]


@pytest.mark.parametrize(
    ("events", "told"),
    [
        pytest.param("time_s,event,velocity\n0.1,note_on,64\n0.2,hum,1\n", "line 3: 'hum' is no event", id="no event"),
        pytest.param("time_s,event,velocity\n0.1,note_on,200\n", "0 to 127", id="velocity too large"),
        pytest.param("time_s,event,velocity\n0.1,note_on,loud\n", "'loud'", id="velocity in words"),
        pytest.param("time_s,event,velocity\nsoon,note_on,1\n", "line 2: time is 'soon'", id="time in words"),
        pytest.param("when,what\n0.1,note_on\n", "no line names", id="other names"),
        pytest.param("time_s,event\n999,note_on\n", "was recorded from 0 to 0.039 s", id="long after the stroke"),
        pytest.param("time_s,event,key\n0.1,note_on,D4\n", "no samples of that key", id="a key that was not pressed"),
    ],
)
def test_bad_events_are_refused_with_line_and_reason(events: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(MalformedTable, match=told) as refused:
        imported(PLAIN, tmp_path, events=events)
    assert "e.csv" in str(refused.value)


def test_events_without_keys_go_to_the_key_pressed_at_that_time(tmp_path: Path) -> None:
    text = with_keys("C4") + with_keys("D4", later_s=1.0).split("\n", 1)[1]
    recording = imported(text, tmp_path, ImportChoices(), events="time_s,event\n0.01,note_on\n1.01,note_on\n")

    assert [key.events.byte[1] for key in recording.keys] == [60, 62]
    assert Key.from_name("D4").note == 62


def test_the_recording_remembers_the_file_it_came_from(tmp_path: Path) -> None:
    run = imported(PLAIN, tmp_path).header.run

    assert run.source_file == "x.csv"
    assert run.source_sha256 is not None
    assert len(run.source_sha256) == 64
