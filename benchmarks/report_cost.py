"""What the report of a whole keyboard costs, and how large its files are."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from benchmarks.survey import a_survey
from processing.display import Units
from processing.report.recorded import Recorded
from processing.report.write import write_report
from processing.whole_recording import analyse_file
from recordings.reader import open_recording

LIMIT_S, LIMIT_MB = 15.0, 8.0


def lines() -> Iterable[str]:
    """Yield what was measured, a line."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "survey.h5"
        a_survey(path)
        begun = time.perf_counter()
        with open_recording(path) as opened:
            result = analyse_file(opened)
        measured = time.perf_counter()
        write_report([Recorded(result)], Path(folder) / "r", Units())
        measure_s, report_s = measured - begun, time.perf_counter() - measured
        html, pdf = ((Path(folder) / f"r.{end}").stat().st_size / 1e6 for end in ("html", "pdf"))
    yield (
        f"write the report of 88 keys / measure them: {report_s / measure_s:.2f} x ({report_s:.1f} s, limit {LIMIT_S:g}"
        f" s; HTML {html:.1f} MB, limit {LIMIT_MB:g} MB; PDF {pdf:.1f} MB)"
    )
