"""A crossed study at the bench: asks for one press after the other and records it, until all of the plan are done.

How it works: the next press is the first whose recording is not there, so a study that was stopped goes on by itself.
A press is recorded as a survey of one key is; one that was interrupted goes on as a survey does, its attempt set aside
within its own file. `r` sets the recording of the last press aside, under another name, and asks for it again.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from keyplumb import __version__
from keyplumb.calibrating.guide import HOW_TO_ANSWER, Answer, Guide

if TYPE_CHECKING:
    from daq.survey import SurveyPlan, SurveyResult
    from daq.talk import HandTalk, Talk
    from keyplumb.gauging.plan import Press, StudyPlan
    from recordings.keys import Key
    from rig.profiles.profile import Profile

SET_UP = "sets rig and keyboard up anew, as on a new day (lift off, set down, zero), and "
HOW_BY_HAND = "until enough strokes are good, and Enter once more (r Enter: the key again)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """Which rig, and who moves its plunger."""

    port: str
    by_hand: bool = False
    profile: Profile | None = None
    """Of a rig that only prints lines, which is always pressed by hand."""


def record_study(plan: StudyPlan, bench: Bench, guide: Guide) -> int:
    """Record all presses that are not there yet and return how many were recorded.

    Raises StoppedByPerson, and what a survey raises; DaqError before the first question if no rig is at the port.
    """
    if plan.next() is not None:
        _try_port(bench)
    guide.tell(HOW_TO_ANSWER)
    recorded, teller = 0, Teller(guide)
    check: tuple[str, str] | None = None
    while (place := plan.next()) is not None:
        if guide.ask(_prompt(plan, place, bench, first=recorded == 0)) is Answer.REPEAT:
            _repeat_last(plan, place, guide)
            continue
        if check is None and bench.profile is None:  # a rig that only prints lines cannot be asked
            check = _checked(bench, guide)
        recorded += _record(plan, plan.presses[place], bench, check, teller)
    return recorded


class Teller:
    """Says to the person what is news: a sentence that every press would repeat is said once."""

    def __init__(self, guide: Guide) -> None:
        self._guide = guide
        self._said: set[str] = set()

    def tell(self, sentence: str) -> None:
        """Say a sentence, unless it was said."""
        if sentence not in self._said:
            self._said.add(sentence)
            self._guide.tell(sentence)

    def typed(self) -> str | None:
        """Return what the person has typed, as the guide hears it."""
        return self._guide.typed()


def _prompt(plan: StudyPlan, place: int, bench: Bench, *, first: bool) -> str:
    press = plan.presses[place]
    before = plan.presses[place - 1] if place else None
    anew = first or before is None or (before.operator, before.trial) != (press.operator, press.trial)
    then = f"Enter, then presses slowly {HOW_BY_HAND}" if bench.by_hand else "hands away, then Enter"
    return (
        f"{place + 1} of {len(plan.presses)}, trial {press.trial}: {press.operator} "
        f"{SET_UP if anew else ''}sets the plunger over {press.key}; {then}"
    )


def _repeat_last(plan: StudyPlan, place: int, guide: Guide) -> None:
    if place == 0:
        guide.tell("nothing was pressed yet")
        return
    path = plan.path(plan.presses[place - 1])
    guide.tell(f"{path.name} is set aside as {_set_aside(path).name} and is pressed again")


def _set_aside(path: Path) -> Path:
    """Give a recording another name, which no plan asks for, and return it."""
    number = 1
    while (aside := path.with_name(f"{path.stem}-set-aside-{number}.h5")).exists():
        number += 1
    return path.rename(aside)


def _try_port(bench: Bench) -> None:
    """Greet the rig, or open the port of one that only prints lines, before anybody sets anything up. Nothing moves.

    Raises DaqError.
    """
    from daq.link import Link
    from daq.port import open_port
    from daq.session import Session

    if bench.profile is not None:
        open_port(bench.port, baud=bench.profile.baud).close()
        return
    with Link(open_port(bench.port), lambda _: None) as link:
        Session(link).greet()


def _checked(bench: Bench, guide: Guide) -> tuple[str, str]:
    from keyplumb.commands.check import check_before

    return check_before(bench.port, guide.tell, moves=not bench.by_hand)


def _record(plan: StudyPlan, press: Press, bench: Bench, check: tuple[str, str] | None, teller: Teller) -> bool:
    """Record one press; return whether the key was found."""
    result = _survey(plan.path(press), bench, _survey_plan(plan, press, check), teller)
    if result.recorded:
        teller.tell(f"{press.file}: {press.key} by {press.operator}, {result.samples_lost} samples lost")
        return True
    aside = _set_aside(plan.path(press))
    teller.tell(f"{press.key} was not found under the plunger, or skipped ({aside.name}); it is asked for again")
    return False


def _survey(out: Path, bench: Bench, plan: SurveyPlan, teller: Teller) -> SurveyResult:
    from daq.survey import Where, resume_survey, run_survey
    from recordings.partial import partial_folder

    where = Where(port_path=bench.port, out=out, profile=bench.profile)
    with _talk(bench, teller) as talk:
        return resume_survey(where, talk) if partial_folder(out).exists() else run_survey(where, plan, talk)


@contextmanager
def _talk(bench: Bench, teller: Teller) -> Iterator[Talk | HandTalk]:
    from keyplumb.commands.survey_talk import hand_talk, motor_talk

    if bench.by_hand:
        with hand_talk(teller.typed) as by_hand:
            yield replace(by_hand, tell=teller.tell)
    else:
        with motor_talk() as by_motor:
            yield replace(by_motor, tell=teller.tell, place_rig=_placed_already)


def _placed_already(_: Key) -> None:
    """Ask for nothing: the prompt has said where the plunger goes."""


def _survey_plan(plan: StudyPlan, press: Press, check: tuple[str, str] | None) -> SurveyPlan:
    from daq.plan import describe, plan_visits
    from daq.programme import load_programme
    from daq.survey import SurveyPlan
    from recordings.keys import Key
    from recordings.types import RunInfo

    visits = plan_visits((((Key.from_name(press.key),), load_programme(plan.told.programme)),))
    run = RunInfo(
        instrument=plan.told.instrument or plan.folder.absolute().name,
        started_at=datetime.now(UTC),
        software_version=__version__,
        programme=describe(visits),
        operator=press.operator,
        note=f"gauge study, trial {press.trial}",
    )
    return SurveyPlan(visits=visits, run=run, check=check)
