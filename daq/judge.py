"""Watches a hand press keys: tells strokes apart as the samples come, and judges each at once.

How it works: samples become bins of 10 ms (`stroke_bins.py`), so neither rate nor cut of the stream matters. Each bin
moves a small machine on: in the air, on the key, or resting on the key. It only finds the strokes; one that has ended
is measured on whole arrays (`stroke_measure.py`) and held against the law (`stroke_faults.py`). The zero of the cell is
learnt on the way (`force_zero.py`).
"""

from __future__ import annotations

from enum import Enum

from daq.force_zero import AirZero
from daq.stroke_bins import Binner
from daq.stroke_faults import faults_of, gap
from daq.stroke_measure import measure_stroke
from daq.stroke_track import Moment, Press, StrokeTrack
from daq.verdict import JudgeSettings, Now, NowState, StrokeVerdict
from recordings.types import Calibration, RawTrace

KEPT_BINS = 300
"""Three seconds before contact belong to a stroke: there it sets out."""
REMEMBERED_BINS = 2000
"""So many are kept in the air: if it turns out to have been a loaded key, they are looked at again."""
SPEED_BINS = 10
STANDS_MM_PER_S = 0.5
USUAL_WAY_MM = 10.0
ANCHOR_S = 5.0


class _Phase(Enum):
    IN_THE_AIR = 0
    ON_THE_KEY = 1
    RESTING = 2


class StrokeJudge:
    """One rig, from key to key; what was learnt of the cell's zero stays."""

    def __init__(self, calibration: Calibration, settings: JudgeSettings | None = None) -> None:
        self.settings = settings or JudgeSettings()
        self._calibration = calibration
        self._binner, self._zero, self._track = Binner(calibration), AirZero(), StrokeTrack()
        self._phase, self._press = _Phase.IN_THE_AIR, None
        self._still_since_s = self._still_low_mm = self._still_high_mm = 0.0
        self._judged_until = 0
        """First bin that no verdict has covered."""
        self._usual_way_mm = USUAL_WAY_MM

    _press: Press | None

    def feed(self, trace: RawTrace) -> list[StrokeVerdict]:
        """Take the next samples, in pieces of any size; return the verdicts on the strokes that they complete.

        Sample numbers and ticks that jump are gaps, and said so in the verdict.
        """
        bins = self._binner.feed(trace)
        verdicts = []
        for moment in StrokeTrack.moments(bins):
            verdicts += [verdict for verdict in self._step(moment) if verdict is not None]
        return verdicts

    @property
    def now(self) -> Now:
        """What the plunger is doing, as of the last whole 10 ms."""
        if not len(self._track):
            return Now(NowState.WAITING, 0.0, None, 0.0, 0.0)
        speed = self._track.speed_mm_per_s(SPEED_BINS)
        if self._zero.newton is None:
            return Now(NowState.WAITING, 0.0, None, speed, 0.0)
        last = self._track.last
        force = last.force_newton - self._zero.newton
        pressed = self._press if self._phase is not _Phase.IN_THE_AIR else None
        depth_mm = max(0.0, last.displacement_mm - pressed.base_mm) if pressed else 0.0
        share = min(1.0, depth_mm / self._usual_way_mm)
        return Now(self._state(force, speed), depth_mm, force, speed, share)

    def _state(self, force_newton: float, speed_mm_per_s: float) -> NowState:
        if self._phase is _Phase.IN_THE_AIR:
            return NowState.IN_THE_AIR
        if force_newton >= self.settings.bed_newton:
            return NowState.ON_THE_BED
        if abs(speed_mm_per_s) < STANDS_MM_PER_S:
            return NowState.WAITING
        return NowState.GOING_DOWN if speed_mm_per_s > 0.0 else NowState.COMING_UP

    def _step(self, moment: Moment) -> list[StrokeVerdict | None]:
        verdicts = [self._break_off()] if moment.clock_jumps else []
        at = self._track.add(moment)
        zero = self._zero.newton
        self._zero.feed(moment.time_s, moment.force_newton, in_the_air=self._phase is _Phase.IN_THE_AIR)
        if self._zero.newton is None:
            return verdicts
        if zero is not None and self._zero.newton < zero - self.settings.touch_newton:
            return verdicts + self._look_again()
        return [*verdicts, self._move_on(at, moment, self._zero.newton)]

    def _look_again(self) -> list[StrokeVerdict | None]:
        """What passed for air was a loaded key: go through all that no verdict has covered with the better zero."""
        assert self._zero.newton is not None
        self._phase, self._press = _Phase.IN_THE_AIR, None
        first, last = max(self._judged_until, self._track.oldest), self._track.newest
        self._still_since_s = self._track[first].time_s
        self._still_low_mm = self._still_high_mm = self._track[first].displacement_mm
        return [self._move_on(at, self._track[at], self._zero.newton) for at in range(first, last + 1)]

    def _move_on(self, at: int, moment: Moment, zero_newton: float) -> StrokeVerdict | None:
        self._watch_stillness(moment)
        force = moment.force_newton - zero_newton
        match self._phase:
            case _Phase.IN_THE_AIR:
                return self._in_the_air(at, moment, force)
            case _Phase.ON_THE_KEY:
                return self._on_the_key(at, moment, force)
            case _Phase.RESTING:
                self._resting(at, moment, force)
                return None

    def _watch_stillness(self, moment: Moment) -> None:
        place_mm = moment.displacement_mm
        self._still_low_mm, self._still_high_mm = (
            min(self._still_low_mm, place_mm),
            max(self._still_high_mm, place_mm),
        )
        if self._still_high_mm - self._still_low_mm > self.settings.still_mm:
            self._still_since_s = moment.time_s
            self._still_low_mm = self._still_high_mm = place_mm

    def _stands_still(self, moment: Moment, press: Press) -> bool:
        return moment.time_s - max(self._still_since_s, press.began_s) >= self.settings.still_s

    def _in_the_air(self, at: int, moment: Moment, force: float) -> StrokeVerdict | None:
        press, settings = self._press, self.settings
        verdict = None
        if press is not None and press.ended_s is not None:
            press.go_on(at, moment.displacement_mm)
            again = force >= settings.touch_newton and moment.displacement_mm >= press.low_mm + settings.surely_air_mm
            if not again and moment.time_s - press.ended_s < settings.settle_s:
                return None
            verdict = self._judge(press, at - 1 if again else at)
            self._press = None
        if force >= settings.touch_newton:
            self._press = self._new_press(at, moment, self._touched_mm(at, moment, force))
            self._phase = _Phase.ON_THE_KEY
        else:
            self._track.forget_before(at - REMEMBERED_BINS)
        return verdict

    def _new_press(self, at: int, moment: Moment, base_mm: float, *, known_home: bool = False) -> Press:
        place_mm = moment.displacement_mm
        return Press(at, moment.time_s, base_mm, known_home, place_mm, place_mm, at)

    def _touched_mm(self, at: int, moment: Moment, force: float) -> float:
        """Return where between the last two bins the force passed touch."""
        before = self._track[max(at - 1, self._track.oldest)]
        if moment.force_newton <= before.force_newton:
            return moment.displacement_mm
        share = (force - self.settings.touch_newton) / (moment.force_newton - before.force_newton)
        return moment.displacement_mm - min(share, 1.0) * (moment.displacement_mm - before.displacement_mm)

    def _on_the_key(self, at: int, moment: Moment, force: float) -> StrokeVerdict | None:
        press, settings = self._press, self.settings
        assert press is not None
        press.go_on(at, moment.displacement_mm)
        depth_mm = press.deepest_mm - press.base_mm
        if self._is_off_the_key(press, moment, force):
            self._leave(press, moment, stroke=depth_mm >= settings.least_way_mm)
        elif depth_mm < settings.least_way_mm:
            if force < settings.release_newton:
                self._leave(press, moment, stroke=False)
            elif self._stands_still(moment, press):
                self._rest(at, press, moment)
        elif self._is_given_up(press, moment):
            return self._end_on_the_key(at, press, moment)
        elif self._goes_down_again(press, moment, depth_mm):
            verdict = self._judge(press, press.low)
            self._press_again(press, moment)
            return verdict
        return None

    def _is_given_up(self, press: Press, moment: Moment) -> bool:
        """Tell a rest part-way up, and a press that takes for ever."""
        came_up = press.deepest_mm - press.low_mm >= self.settings.least_rise_mm
        lasts_s = moment.time_s - press.began_s
        return lasts_s > self.settings.longest_s or (came_up and self._stands_still(moment, press))

    def _goes_down_again(self, press: Press, moment: Moment, depth_mm: float) -> bool:
        """Tell the next stroke from a step back in this one."""
        on_its_way_home = press.deepest_mm - press.low_mm >= max(self.settings.least_rise_mm, 0.5 * depth_mm)
        return on_its_way_home and moment.displacement_mm >= press.low_mm + self.settings.again_mm

    def _is_off_the_key(self, press: Press, moment: Moment, force: float) -> bool:
        """Tell by force and place; far above the key by place alone, and there is the zero of the cell."""
        if moment.displacement_mm <= press.base_mm - self.settings.surely_air_mm:
            if force >= self.settings.release_newton:
                self._zero.restart(moment.time_s, moment.force_newton)
            return True
        at_home = moment.displacement_mm <= press.base_mm + self.settings.home_mm
        return at_home and force < self.settings.release_newton

    def _leave(self, press: Press, moment: Moment, *, stroke: bool) -> None:
        self._phase = _Phase.IN_THE_AIR
        press.ended_s = moment.time_s
        self._press = press if stroke else None

    def _rest(self, at: int, press: Press, moment: Moment) -> None:
        self._phase = _Phase.RESTING
        press.low_mm, press.low, press.began_s = moment.displacement_mm, at, moment.time_s

    def _end_on_the_key(self, at: int, press: Press, moment: Moment) -> StrokeVerdict | None:
        verdict = self._judge(press, at)
        self._rest(at, press, moment)
        return verdict

    def _press_again(self, press: Press, moment: Moment) -> None:
        """The plunger goes down again without having been home."""
        self._phase = _Phase.ON_THE_KEY
        self._press = self._new_press(press.low, moment, press.base_mm, known_home=True)

    def _resting(self, at: int, moment: Moment, force: float) -> None:
        press, place_mm = self._press, moment.displacement_mm
        assert press is not None
        if self._is_off_the_key(press, moment, force):
            self._leave(press, moment, stroke=False)
        elif place_mm <= press.low_mm or moment.time_s - press.began_s > ANCHOR_S:
            self._rest(at, press, moment)
            self._track.forget_before(at - KEPT_BINS)
        elif place_mm >= press.low_mm + self.settings.least_way_mm:
            self._press_again(press, moment)

    def _break_off(self) -> StrokeVerdict | None:
        """The rig's clock has jumped: what was under way cannot be finished."""
        press, verdict = self._press, None
        if press is not None and self._phase is not _Phase.RESTING:
            verdict = self._judge(press, self._track.newest, broken=press.ended_s is None)
        self._phase, self._press, self._still_since_s = _Phase.IN_THE_AIR, None, 0.0
        self._track, self._judged_until = StrokeTrack(), 0
        self._zero.forget_the_clock()
        return verdict

    def _judge(self, press: Press, last: int, *, broken: bool = False) -> StrokeVerdict | None:
        """Return the verdict on the stroke that ends with the bin `last`; None if it was only a touch."""
        first = max(self._judged_until, press.contact - KEPT_BINS, self._track.oldest)
        home_mm = press.base_mm if press.known_home else None
        assert self._zero.newton is not None
        window = self._track.window(first, last, press.contact, self._zero.newton, home_mm)
        numbers = measure_stroke(window, self.settings, self._calibration)
        self._judged_until = last
        if numbers is None:
            return None
        start = first + numbers.start
        holes, missing_s = self._track.holes(start, last)
        gaps = (gap(holes + broken, missing_s),) if holes or broken else ()
        faults = gaps + (() if broken else faults_of(numbers, self.settings))
        if not faults:
            self._usual_way_mm = numbers.depth_mm
        return StrokeVerdict(
            faults=faults,
            first_sample=self._track[start].first_sample,
            last_sample=self._track[last].last_sample,
            tick_us=self._track[last].tick_us,
            down_mm_per_s=numbers.down_mm_per_s,
            up_mm_per_s=numbers.up_mm_per_s,
            unevenness=numbers.unevenness,
            reversal_mm=numbers.reversal_mm,
            peak_newton=numbers.peak_newton,
            depth_mm=numbers.depth_mm,
        )
