"""Keys judged in a process of their own while a survey goes on: said at once, and in no one's way."""

from __future__ import annotations

from dataclasses import replace

import pytest

from keyplumb.live_judge import LiveJudge
from processing.calibrate import recalibrated
from processing.limits.judge import certain_fail, judge_recorded
from processing.limits.types import Limits
from processing.limits.verdict import Decision, KeyVerdict
from recordings.types import Header, KeyRecording
from tests.builders import WHOLE_RECORD, SyntheticKey, a_header, a_recording
from tests.processing.limits.units import some_limits

HEADER: Header = recalibrated(a_header("moss"), WHOLE_RECORD)
GOOD, BAD = a_recording(), a_recording(SyntheticKey(down=0.60))
LIMITS = some_limits()


def judged_live(
    *recordings: KeyRecording, stop_on_fail: bool = False, limits: Limits = LIMITS
) -> tuple[list[KeyVerdict], list[str], list[str | None]]:
    """Return the verdicts, what else was told, and what was said each time to whether it is enough."""
    verdicts: list[KeyVerdict] = []
    told: list[str] = []
    with LiveJudge(
        limits, lambda _, verdict: verdicts.append(verdict), told.append, stop_on_fail=stop_on_fail
    ) as watch:
        enough = []
        for recording in recordings:
            watch.key_done(HEADER, recording)
            enough.append(watch.enough())
    return verdicts, told, enough


def test_every_key_is_judged_as_it_will_be_from_the_file_and_a_certain_fail_is_enough() -> None:
    verdicts, told, enough = judged_live(GOOD, BAD, stop_on_fail=True)

    assert verdicts == [judge_recorded(HEADER, recording, LIMITS) for recording in (GOOD, BAD)]
    assert [verdict.outcome for verdict in verdicts] == ["pass", "fail"]
    assert enough == [None, "C4 fails for certain"]
    assert told == []


def test_unless_it_is_asked_for_no_fail_ends_a_survey_and_trouble_of_the_judge_is_only_told() -> None:
    no_such_measurand = some_limits(replace(LIMITS.values[0], measurand="no such measurand"))
    verdicts, told, enough = judged_live(BAD, GOOD, limits=no_such_measurand)

    assert verdicts == []
    assert enough == [None, None]
    assert [words.split(" could not")[0] for words in told] == ["C4", "C4"]
    assert all(words.endswith("the whole unit will be judged from its file") for words in told)


@pytest.mark.parametrize(("wrong", "certain"), [(None, True), (0.05, True), (0.2, False)])
def test_a_fail_is_certain_if_a_finding_says_it_or_it_is_wrong_with_5_percent_at_most(
    wrong: float | None, certain: bool
) -> None:
    fail = Decision(code="x", key=None, outcome="fail", wrong=wrong, template="x")

    assert (certain_fail([replace(fail, outcome="pass"), fail]) is fail) == certain
