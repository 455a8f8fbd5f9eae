"""Presses on references: gauge blocks, a rigid stop, a spring; by the motor, or by the person's hand.

How it works: the person puts the reference there and says so; then the motor presses, or the person does and the
program sees it. The motor is at its top whenever a hand is asked to come near. `r` repeats the press before; what is
repeated stays among the readings, set aside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import product

from daq.calibration.hand_presses import HandPressSettings, Wanted, hand_press
from daq.calibration.presses import MotorPresser, Press, PressSettings, prepare_motor
from daq.errors import NothingUnderPlunger, NotPressed
from daq.sitting import RigSitting
from keyplumb.calibrating.guide import Answer, Guide
from processing.calibration.block_list import TABLE, Block
from processing.calibration.derive import Fault, displacement_faults
from recordings.calibration_readings import CalibrationReadings, PressReading

BLOCK_ROUNDS = 2
"""Every block twice, up and down the list: what differs between the rounds is seating and dirt."""
STOP_PRESSES = 5
"""Scatter from four degrees of freedom."""
SLOW_MM_PER_S, FAST_MM_PER_S = 2.0, 20.0
STROKE_SPEEDS_MM_PER_S = (SLOW_MM_PER_S, 8.0, FAST_MM_PER_S)
"""Tenfold between the first and the last: the delay is the slope over speed."""
STROKES_EACH = 3
BY_HAND_WORDS = {
    SLOW_MM_PER_S: "slowly, some 2 mm each second",
    FAST_MM_PER_S: "quickly and evenly, some 20 mm each second",
}


class PressBench:
    """One calibration by presses, with its readings so far in `readings`."""

    def __init__(
        self,
        sitting: RigSitting,
        guide: Guide,
        blocks: Sequence[Block],
        readings: CalibrationReadings,
        *,
        press: PressSettings | None = None,
        by_hand: HandPressSettings | None = None,
    ) -> None:
        self._sitting, self._guide, self.readings = sitting, guide, readings
        self._blocks, self._by_hand = blocks, by_hand
        self._motor = MotorPresser(sitting, press) if sitting.rig.has_motor else None

    def prepare(self) -> None:
        """Start the stream and, with a motor, find the top."""
        if self._motor is None:
            self._sitting.session.start_stream()
        else:
            prepare_motor(self._sitting)

    def run(self) -> None:
        """Take all presses of the kind of calibration that the readings are of. Raises StoppedByPerson, DaqError."""
        match self.readings.head.kind:
            case "displacement":
                self._press_on_blocks()
            case "compliance":
                self._press_on_stop()
            case "skew":
                self._stroke_spring()
            case "force":
                raise ValueError("the force is calibrated with masses, not by presses")

    def _press_on_blocks(self) -> None:
        """Press on the bare table and on every block, up the list and down again."""
        blocks = self._blocks
        names = [TABLE, *(block.name for block in sorted(blocks, key=lambda block: block.nominal_mm))]
        length = {block.name: block.nominal_mm for block in blocks}
        asked = [name for number in range(BLOCK_ROUNDS) for name in (names if number % 2 == 0 else names[::-1])]
        place, told = 0, frozenset[str]()
        while place < len(asked):
            name = asked[place]
            what = "nothing but the bare table" if name == TABLE else f"block {name} ({length[name]:g} mm)"
            answer = self._guide.ask(f"{place + 1} of {len(asked)}: under the plunger: {what}; hands away, Enter")
            if answer is Answer.REPEAT and place > 0:
                place -= 1
                self._set_aside_last("the press was repeated")
                continue
            if not self._take(name, MotorPresser.press, "slowly"):
                continue
            place += 1
            faults = [fault for fault in self._faults() if fault.words not in told]
            told |= {fault.words for fault in faults}
            if faults and self._repeats(faults):
                place -= 1
                self._set_aside_last("the press was repeated")

    def _press_on_stop(self) -> None:
        """Press on a rigid stop some times."""
        self._place("a rigid stop (a steel block on the table)")
        for number in range(STOP_PRESSES):
            while not self._take("stop", MotorPresser.press, f"slowly, {number + 1} of {STOP_PRESSES},"):
                self._place("the stop")

    def _stroke_spring(self) -> None:
        """Stroke a spring at some speeds."""
        self._place("a steel spring, standing firmly")
        depth_mm = self._depth_mm()
        speeds = STROKE_SPEEDS_MM_PER_S if self._motor is not None else (SLOW_MM_PER_S, FAST_MM_PER_S)
        for speed, number in product(speeds, range(STROKES_EACH)):
            how = f"{BY_HAND_WORDS.get(speed, '')}, {number + 1} of {STROKES_EACH},"
            while not self._take("spring", partial(MotorPresser.stroke, depth_mm=depth_mm, speed_mm_per_s=speed), how):
                self._place("the spring")

    def _depth_mm(self) -> float:
        """Return how deep the spring is pressed: a little less than where the force limit would end a stroke."""
        if self._motor is None:
            return 0.0
        while True:
            try:
                self._motor.touch("spring")
                return 0.9 * self._motor.depth_mm()
            except NothingUnderPlunger as absent:
                self._guide.tell(str(absent))
                self._place("the spring")

    def _place(self, what: str) -> None:
        self._guide.ask(f"under the plunger: {what}; hands away, Enter")

    def _take(self, under: str, by_motor: Callable[[MotorPresser], Press], how: str) -> bool:
        """Take one press and keep it; return whether there was one."""
        try:
            if self._motor is None:
                words = {
                    Wanted.PRESS: f"press {how} on the {under}, to some 5 N, and let go (Enter if that goes unseen)",
                    Wanted.HANDS_OFF: "hands off the plunger, please: its zero is read in the air, before the press",
                }
                press = hand_press(
                    self._sitting, lambda wanted: self._guide.tell(words[wanted]), self._guide.said_over, self._by_hand
                )
            else:
                self._motor.touch(under)
                press = by_motor(self._motor)
                self._motor.home()
        except (NothingUnderPlunger, NotPressed) as absent:
            self._guide.tell(str(absent))
            return False
        again = f"; taken {press.tries} times, samples were lost" if press.tries > 1 else ""
        self._guide.tell(f"  {len(press.trace)} samples{again}")
        one = PressReading(under=under, speed_mm_per_s=press.speed_mm_per_s, trace=press.trace)
        self.readings = replace(self.readings, presses=(*self.readings.presses, one))
        return True

    def _faults(self) -> tuple[Fault, ...]:
        return displacement_faults(self.readings)

    def _repeats(self, faults: Sequence[Fault]) -> bool:
        self._guide.tell("this looks like a mistake:")
        for fault in faults:
            self._guide.tell(f"  {fault.words}; {fault.advice}")
        return self._guide.ask("r repeats this press (advised), Enter keeps it, q stops") is Answer.REPEAT

    def _set_aside_last(self, why: str) -> None:
        last = max(number for number, one in enumerate(self.readings.presses) if not one.set_aside)
        presses = tuple(
            replace(one, set_aside=why) if number == last else one for number, one in enumerate(self.readings.presses)
        )
        self.readings = replace(self.readings, presses=presses)
