"""What the report of a whole keyboard costs: seconds beside those of measuring it, and megabytes."""

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

AIM_S, AIM_MB = 15.0, 8.0


def lines() -> Iterable[str]:
    """Yield what was measured, a line each."""
    with tempfile.TemporaryDirectory() as folder:
        path, stem = Path(folder) / "survey.h5", Path(folder) / "report"
        a_survey(path)
        begun = time.perf_counter()
        with open_recording(path) as opened:
            result = analyse_file(opened)
        measured = time.perf_counter()
        write_report([Recorded(result)], stem, Units())
        written = time.perf_counter()
        html, pdf = (stem.with_suffix(f".{end}").stat().st_size / 1e6 for end in ("html", "pdf"))
    measure_s, report_s = measured - begun, written - measured
    yield (
        f"write the report of 88 keys / measure them: {report_s / measure_s:.2f} x ({report_s:.1f} s, aim {AIM_S:g}; "
        f"HTML {html:.1f} MB, aim {AIM_MB:g}; PDF {pdf:.1f} MB)"
    )
