"""`keyplumb inspect --port`: a survey in which every key is judged as soon as it is recorded."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from keyplumb.commands.arguments import CAUTIONS, about_the_run

if TYPE_CHECKING:
    from processing.limits.types import Limits
    from processing.limits.verdict import KeyVerdict
    from recordings.types import Header


def survey_and_judge(arguments: argparse.Namespace, limits: Limits) -> None:
    """Record the keys that the limits expect to `arguments.out` and say the verdict on each, on stderr.

    The port is opened when the judge's process has been started. What was recorded is judged as a whole afterwards.
    """
    from daq.plan import describe, plan_visits
    from daq.programme import load_programme
    from daq.survey import SurveyPlan, Where, run_survey
    from keyplumb.commands.check import check_before
    from keyplumb.commands.survey_talk import motor_talk, stop_on_signals
    from keyplumb.live_judge import LiveJudge
    from processing.calibration_status import marked
    from processing.display import parse_units
    from processing.limits.sentences import key_sentence
    from recordings.writer import refuse_to_overwrite

    refuse_to_overwrite(arguments.out)
    visits = plan_visits(((limits.expected.keys, load_programme(arguments.programme or "slow")),))
    arguments.instrument = arguments.instrument or limits.expected.instrument
    run = about_the_run(arguments, describe(visits))
    print(CAUTIONS, file=sys.stderr)
    stop_on_signals()
    where = Where(port_path=arguments.port, out=arguments.out, midi=arguments.midi)
    with motor_talk() as talk:

        def say(header: Header, verdict: KeyVerdict) -> None:
            talk.tell(key_sentence(verdict, marked(parse_units(arguments.units), header)))

        with LiveJudge(limits, say, talk.tell, stop_on_fail=arguments.stop_on_fail) as watch:
            check = check_before(where.port_path, talk.tell, moves=True)
            result = run_survey(where, SurveyPlan(visits=visits, run=run, check=check), talk, watch)
    print(f"{result.path}: {len(result.recorded)} of {len(visits)} keys recorded", file=sys.stderr)
