"""Many files: the same results whoever does the work, in the order of the files; what fails stops nothing else."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import keyplumb
from keyplumb.__main__ import main
from keyplumb.many.dealing import AHEAD, by_processes
from keyplumb.many.outcomes import DIED, Done, Failed, Kept
from keyplumb.many.over_files import over_files
from keyplumb.many.progress import Watched
from processing.features.table import FEATURES
from recordings.keys import Key
from recordings.writer import write_recording
from tests.builders import Press, SyntheticKey, a_header, a_recording

CLUSTER = """
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        print(cluster.scheduler_address, flush=True)
        input()
"""


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("units")
    paths = [folder / f"unit-{number}.h5" for number in (3, 1, 2)]
    for number, path in enumerate(paths):
        keys = [
            a_recording(SyntheticKey(down=0.4 + 0.02 * number), Press(strokes=2, seed=number), name=key)
            for key in (Key(40), Key(41))
        ]
        write_recording(path, a_header(path.stem), keys)
    return paths


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A cluster of two workers in processes of its own, as someone else would have started it."""
    script = tmp_path_factory.mktemp("cluster") / "cluster.py"
    script.write_text(CLUSTER)
    with subprocess.Popen(
        [sys.executable, script],
        env={**os.environ, "PYTHONPATH": str(Path(keyplumb.__file__).parents[1])},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    ) as program:
        assert program.stdout is not None
        assert program.stdin is not None
        yield program.stdout.readline().strip()
        program.stdin.close()


def said(*words: object, path: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run a command as a program of its own: a cluster leaves threads behind, and workers are forked without any."""
    program = [sys.executable, "-m", "keyplumb", *map(str, words)]
    environment = os.environ if path is None else {**os.environ, "PYTHONPATH": str(path)}
    return subprocess.run(program, env=environment, capture_output=True, text=True, check=False, timeout=120)


def run(*words: object) -> int:
    try:
        return main([str(word) for word in words])
    except SystemExit as left:
        return int(left.code or 0)


def test_results_are_the_same_whoever_does_the_work(files: list[Path], scheduler: str) -> None:
    alone = said("measure", *files, "--json", "--workers", "1")
    by_two = said("measure", *files, "--json", "--workers", "2")
    by_cluster = said("measure", *files, "--json", "--cluster", scheduler)

    assert (alone.returncode, alone.stderr) == (0, "")
    assert alone.stdout == by_two.stdout
    assert alone.stdout == by_cluster.stdout, by_cluster.stderr
    views = [json.loads(line) for line in alone.stdout.splitlines()]
    assert [view["file"] for view in views] == [str(path) for path in files]
    assert [view["instrument"] for view in views] == [path.stem for path in files]


def test_verdicts_are_the_same_from_a_cluster(files: list[Path], scheduler: str, tmp_path: Path) -> None:
    limits = tmp_path / "limits.toml"
    limits.write_text('name = "a"\n[[limit]]\nmeasurand = "down_weight"\nunit = "N"\nupper = 0.45\n')
    words = ("inspect", *files[:2], "--limits", limits, "--json")
    here, there = (said(*words, *way) for way in (("--workers", 1), ("--cluster", scheduler)))

    assert (there.returncode, there.stdout) == (here.returncode, here.stdout), there.stderr
    assert [json.loads(line)["schema"] for line in here.stdout.splitlines()] == 2 * ["keyplumb.inspect/1"]


def test_a_line_is_what_the_file_alone_gives(files: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", files[0], "--json") == 0
    alone = json.loads(capsys.readouterr().out)
    assert run("measure", *files[:2], "--json") == 0
    first = json.loads(capsys.readouterr().out.splitlines()[0])

    assert first.pop("file") == str(files[0])
    assert first == alone


@pytest.mark.parametrize("workers", [1, 2])
def test_a_file_that_fails_is_told_at_the_end_and_stops_nothing(
    workers: int, files: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken, missing = tmp_path / "broken.h5", tmp_path / "missing.h5"
    broken.write_text("no recording")

    code = run("measure", files[0], broken, missing, files[1], "--json", "--workers", workers)
    out, err = capsys.readouterr()
    lines = [json.loads(line) for line in out.splitlines()]

    assert code == 3
    assert [line["schema"] for line in lines] == ["keyplumb.measure/1", *2 * ["keyplumb.failure/1"], lines[0]["schema"]]
    assert [line["file"] for line in lines] == [str(path) for path in (files[0], broken, missing, files[1])]
    assert "2 of 4 files failed" in err
    assert f"{broken} is no keyplumb recording" in err
    assert f"{missing}: no such file" in err


def test_a_cluster_tells_what_failed_as_we_do(files: list[Path], tmp_path: Path, scheduler: str) -> None:
    missing = tmp_path / "missing.h5"
    here, there = (said("measure", missing, files[0], *way) for way in (("--workers", 1), ("--cluster", scheduler)))

    assert (there.returncode, there.stdout) == (here.returncode, here.stdout)
    assert in_the_end(there.stderr) == in_the_end(here.stderr)
    assert there.returncode == 3


def in_the_end(stderr: str) -> list[str]:
    """What is said when all is done; how far it is, is said only of what takes long."""
    return [line for line in stderr.splitlines() if " left" not in line]


def test_many_files_as_one_table(files: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", *files, "--csv", "--keys", "C#4") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))

    assert len(rows) == len(files) * len(FEATURES)
    assert [row["file"] for row in rows[:: len(FEATURES)]] == [str(path) for path in files]
    assert {row["key"] for row in rows} == {"C#4"}
    assert float(rows[0]["value"]) == pytest.approx(SyntheticKey(down=0.4).key_dip, abs=0.01)


def test_many_files_for_people_are_a_sentence_each(files: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("measure", *files) == 0
    first, *_ = lines = capsys.readouterr().out.splitlines()

    assert len(lines) == len(files)
    assert first.startswith(f"{files[0]}: unit-3, 2 of 2 keys measured, down weight 40.8 gf")


@pytest.mark.parametrize("words", [("--budget", "C4:down_weight"), ("--whole-grams",)])
def test_what_is_about_one_recording_is_refused_for_many(words: tuple[str, ...], files: list[Path]) -> None:
    assert run("measure", *files, *words) == 2


def test_a_scheduler_that_does_not_answer_is_one_sentence(files: list[Path]) -> None:
    told = said("measure", *files, "--cluster", "tcp://127.0.0.1:9")

    assert told.returncode == 4
    assert "tcp://127.0.0.1:9: no scheduler answers there" in told.stderr
    assert len(told.stderr.splitlines()) == 1


@pytest.mark.parametrize("address", ["bogus://x", "nonsense"])
def test_an_address_that_is_none_is_one_sentence_and_no_trace(files: list[Path], address: str) -> None:
    told = said("measure", *files, "--cluster", address)

    assert told.returncode == 4
    assert f"{address}: no scheduler answers there" in told.stderr
    assert "Traceback" not in told.stderr


def test_a_cluster_with_other_versions_is_refused(files: list[Path], scheduler: str, tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text("import importlib.metadata as m; m.version = lambda name: '0'")
    told = said("measure", *files, "--cluster", scheduler, path=tmp_path)

    assert told.returncode == 4
    assert f"numpy {np.__version__}" in told.stderr
    assert "here it is keyplumb" in told.stderr


def test_a_missing_library_names_the_extra_that_brings_it(
    files: list[Path], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)

    assert run("measure", *files, "--cluster", "tcp://127.0.0.1:9") == 3
    assert "keyplumb[cluster]" in capsys.readouterr().err


def dies_on_two(file: Path) -> str:
    if file.name == "2":
        os._exit(1)
    return file.name


def buggy(file: Path) -> str:
    return file.name + 1  # type: ignore[operator]


def test_a_file_that_kills_its_process_is_named_and_the_others_go_on() -> None:
    files = [Path(str(number)) for number in (*range(1, 12), 3)]

    outcomes = list(by_processes(Kept(dies_on_two), files, 2))

    expected = [Failed(file, DIED) if file.name == "2" else Done(file, file.name) for file in files]
    assert outcomes == expected


def test_an_error_of_our_own_in_one_file_does_not_stop_the_night() -> None:
    (outcome,) = over_files(buggy, [Path("a")], workers=1)

    assert isinstance(outcome, Failed)
    assert outcome.reason.startswith("an error in keyplumb itself, TypeError")


def test_files_are_taken_only_a_few_ahead_of_what_is_handed_on() -> None:
    taken: list[int] = []

    def files() -> Iterator[Path]:
        for number in range(100):
            taken.append(number)
            yield Path(str(number))

    outcomes = by_processes(Kept(dies_on_two), files(), 2)
    next(outcomes)

    assert len(taken) == 2 * AHEAD
    outcomes.close()  # type: ignore[attr-defined]


def test_without_a_terminal_progress_is_a_line_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("keyplumb.many.progress.LINE_EVERY_S", 0.0)
    watched = Watched(2, bar=True)

    list(watched.results([Done(Path("a"), 1), Failed(Path("b"), "why")]))
    watched.tell_failures()

    first, second, *told = capsys.readouterr().err.splitlines()
    assert first.startswith("keyplumb: 1 of 2 files, about ")
    assert second.startswith("keyplumb: 2 of 2 files, 1 failed")
    assert told == ["keyplumb: 1 of 2 files failed; all others are done", "  b: why"]
