"""Surveys by a simulated hand, through a real pseudo-terminal: every stroke judged at once, good ones counted."""

from __future__ import annotations

from collections import deque
from pathlib import Path

import numpy as np
import pytest

from daq.by_hand import FootSwitch
from daq.errors import ProgrammeUnfit
from daq.programme import PartialLifts, Rest
from daq.survey import SurveyPlan, SurveyResult, Where, resume_survey, run_survey
from daq.talk import HandTalk, Order
from daq.verdict import StrokeVerdict
from recordings.keys import Key
from recordings.reader import read_recording
from recordings.types import FOOT_SWITCH, RawEvents
from rig.profiles.profile import load_profile
from rig.virtual.cue_follower import CueFollower
from rig.virtual.line_rig import LineRig
from rig.virtual.person import VirtualPerson
from rig.virtual.virtual_rig import RigSpec, VirtualRig
from tests.daq.rigs import KEYS, a_plan, a_programme, a_rig, load_slow, silent_talk


class Person:
    """What the person at the program sees, and what they order: Enter when a key is good, or as the test wants."""

    def __init__(self, orders: tuple[Order | None, ...] = ()) -> None:
        self.seen: list[tuple[str, str, int]] = []
        self.sentences: list[str] = []
        self._key = ""
        self._orders = deque(orders)
        self.interrupt_at: str | None = None

    def talk(self) -> HandTalk:
        return HandTalk(
            progress=lambda _: None,
            tell=self.sentences.append,
            next_key=self._next_key,
            now=lambda _: None,
            verdict=self._verdict,
            order=lambda: self._orders.popleft() if self._orders else None,
        )

    def order(self, order: Order) -> None:
        self._orders.append(order)

    def _next_key(self, key: Key, _: int) -> None:
        self._key = key.name
        if key.name == self.interrupt_at:
            raise KeyboardInterrupt

    def _verdict(self, verdict: StrokeVerdict, good: int, _: int) -> None:
        self.seen.append((self._key, verdict.word, good))


def press(port: str, out: Path, person: Person, plan: SurveyPlan | None = None, **where: object) -> SurveyResult:
    plan = plan or a_plan("C4..E4", load_slow())
    return run_survey(Where(port_path=port, out=out, patience_s=0.5, **where), plan, person.talk())  # type: ignore[arg-type]


def a_hand_rig(*, bad_share: float = 0.0, seed: int = 3) -> VirtualRig:
    return VirtualRig(KEYS, RigSpec(), CueFollower(station=1, seed=seed, bad_share=bad_share))


def test_a_person_who_follows_the_lamps_is_led_through_the_keys(tmp_path: Path) -> None:
    person = Person()
    with a_rig(rig=a_hand_rig()) as port:
        result = press(port, tmp_path / "r.h5", person)
    recording = read_recording(tmp_path / "r.h5")

    assert [key.name for key in result.recorded] == ["C4", "C#4", "D4", "D#4", "E4"]
    assert person.seen == [(key.name, "good", n) for key in result.recorded for n in (1, 2, 3)]
    assert [mark.name for mark in recording.keys[0].marks][:3] == ["stroke 1: good", "stroke 2: good", "stroke 3: good"]
    assert recording.complete
    assert result.samples_lost == 0


def test_bad_strokes_are_named_and_made_again(tmp_path: Path) -> None:
    person, rig = Person(), a_hand_rig(bad_share=0.4, seed=8)
    with a_rig(rig=rig) as port:
        result = press(port, tmp_path / "r.h5", person)
    pressed = rig._person.pressed if rig._person else []

    assert len(result.recorded) == 5
    assert len(pressed) > 15
    assert sum(word == "good" for _, word, _ in person.seen) == sum(kind == "good" for kind in pressed) == 15
    assert {word.split(",")[0] for _, word, _ in person.seen} >= {"good", "uneven", "not to the bed"}


def test_a_key_is_begun_again_skipped_and_not_left_too_early(tmp_path: Path) -> None:
    rig = a_hand_rig()
    person = Person((Order.NEXT, Order.AGAIN, Order.SKIP))
    with a_rig(rig=rig) as port:
        result = press(port, tmp_path / "r.h5", person, a_plan("C4,C#4", load_slow()))
    recording = read_recording(tmp_path / "r.h5")

    assert "0 of 3 good; press on, or skip the key with s" in person.sentences
    assert [aside.reason for aside in recording.keys[0].set_aside] == ["begun again by the person"]
    assert [key.name for key in result.skipped] == ["C4"]
    assert [key.name for key in result.recorded] == ["C#4"]


def test_a_survey_by_hand_is_gone_on_with_at_the_key_in_hand(tmp_path: Path) -> None:
    first, second = Person(), Person()
    first.interrupt_at = "D#4"
    with a_rig(rig=a_hand_rig()) as port:
        with pytest.raises(KeyboardInterrupt):
            press(port, tmp_path / "r.h5", first)
        resume_survey(Where(port_path=port, out=tmp_path / "r.h5"), second.talk())

    assert second.seen[0][0] == "D#4"
    assert read_recording(tmp_path / "r.h5").complete


def a_line_rig(profile_name: str) -> tuple[LineRig, VirtualPerson]:
    person = VirtualPerson(station=40, seed=4)
    return LineRig(KEYS, load_profile(profile_name), person=person), person


class PersonAtBoth(Person):
    """Sees the program and presses the rig that cannot show anything."""

    def __init__(self, hand: VirtualPerson) -> None:
        super().__init__()
        self._hand = hand

    def _next_key(self, key: Key, wanted: int) -> None:
        super()._next_key(key, wanted)
        self._hand.move_to(key.number)
        for _ in range(wanted):
            self._hand.press("good")
        self._hand.rest(1.0)
        self._hand.tread()


def test_a_rig_that_only_prints_lines_records_like_any_other(tmp_path: Path) -> None:
    rig, hand = a_line_rig("lines_counter")
    person = PersonAtBoth(hand)
    with a_rig(rig=rig) as port:
        result = press(port, tmp_path / "r.h5", person, a_plan("C4,C#4", load_slow()), profile=rig.profile)
    recording = read_recording(tmp_path / "r.h5")

    assert [key.name for key in result.recorded] == ["C4", "C#4"]
    assert [word for _, word, _ in person.seen] == ["good"] * 6
    assert np.count_nonzero(recording.keys[0].events.source == 1) >= 6  # the contact closed and opened at each stroke
    assert recording.header.calibration.force.reference == "stated by the profile lines_counter"


def test_a_rig_that_only_prints_lines_is_not_moved(tmp_path: Path) -> None:
    rig, _ = a_line_rig("lines_counter")
    with a_rig(rig=rig) as port, pytest.raises(ProgrammeUnfit, match="record by hand"):
        run_survey(Where(port_path=port, out=tmp_path / "r.h5", profile=rig.profile), a_plan(), silent_talk())


def test_a_programme_without_strokes_cannot_be_pressed(tmp_path: Path) -> None:
    no_strokes = a_programme(Rest(do="rest"), PartialLifts(do="partial lifts"))
    with a_rig(rig=a_hand_rig()) as port, pytest.raises(ProgrammeUnfit, match="no slow strokes"):
        press(port, tmp_path / "r.h5", Person(), a_plan("C4", no_strokes))


@pytest.mark.parametrize(
    ("trodden_s", "order"), [(0.1, Order.NEXT), (0.99, Order.NEXT), (1.0, Order.AGAIN), (5.0, Order.AGAIN)]
)
def test_a_short_tread_goes_on_and_a_long_one_begins_again(trodden_s: float, order: Order) -> None:
    ticks = np.array([5, 5 + round(trodden_s * 1e6)], np.int64)
    switch = np.full(2, FOOT_SWITCH, np.uint8)

    assert FootSwitch().listen(RawEvents(ticks, switch, np.array([1, 0], np.uint8))) == [order]
