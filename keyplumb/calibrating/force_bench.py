"""The force: masses up and down in cycles, every reading settled, mistakes named after each cycle.

How it works: the person lays on what is asked for and says so; `r` at the next question repeats the reading before it,
`r` after a cycle the whole cycle, which then begins with a new reading of the empty pan. Nothing is thrown away: what
is repeated stays among the readings, set aside.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from daq.calibration.settled import SettledReading, SettleSettings, read_settled
from daq.sitting import RigSitting
from keyplumb.calibrating.guide import Answer, Guide
from processing.calibration.derive import Fault, force_faults
from processing.calibration.load_plan import PlannedStep
from processing.calibration.masses import MassList
from recordings.calibration_readings import CalibrationReadings, LoadReading

HOLD_S = 30.0
"""How long the largest load is left on to see creep: the time that loads lie on between two empty readings, about."""

MOST_TOLD = 4
"""Mistakes at a time; more are one mistake that shows everywhere."""

Find = Callable[[CalibrationReadings], tuple[Fault, ...]]


class ForceBench:
    """One loading sequence, with its readings so far in `readings`."""

    def __init__(
        self,
        sitting: RigSitting,
        guide: Guide,
        masses: MassList,
        plan: tuple[PlannedStep, ...],
        readings: CalibrationReadings,
        *,
        settle: SettleSettings | None = None,
        find: Find = force_faults,
    ) -> None:
        self._sitting, self._guide, self._find = sitting, guide, find
        self._nominal_g = {mass.name: mass.nominal_g for mass in masses.masses}
        self._plan, self._settle = plan, settle
        self.readings = readings

    def run(self) -> None:
        """Take all readings of the plan. Raises StoppedByPerson, DaqError and its kinds."""
        told: frozenset[str] = frozenset()
        for cycle in range(max(step.cycle for step in self._plan) + 1):
            steps = [step for step in self._plan if step.cycle == cycle]
            while True:
                begun = len(self.readings.loads)
                self._cycle(steps, cycle)
                faults = [fault for fault in self._find(self.readings) if fault.words not in told]
                if not faults or self._keeps(faults, cycle):
                    told |= {fault.words for fault in faults}
                    break
                self._set_aside(begun, "the cycle was repeated")
                if steps[0].masses:
                    steps = [PlannedStep((), cycle), *steps]

    def _cycle(self, steps: list[PlannedStep], cycle: int) -> None:
        """Take the readings of one cycle; a repeated step follows the one that it replaces."""
        place = 0
        while place < len(steps):
            step, lies = steps[place], self._lies()
            if step.hold:
                self._guide.tell(f"cycle {cycle + 1}: leave everything; the same load is read again in {HOLD_S:g} s")
                self._sitting.session.rest(HOLD_S)
            elif self._guide.ask(f"cycle {cycle + 1}, {place + 1} of {len(steps)}: {self._words(step, lies)}") is (
                Answer.REPEAT
            ):
                if place == 0:
                    self._guide.tell("there is no step before this one in the cycle")
                    continue
                place = self._back(steps, place)
                continue
            self._read(step)
            place += 1

    def _back(self, steps: list[PlannedStep], place: int) -> int:
        """Set the step before aside, a hold together with the load that was held, and return its place."""
        back = 2 if steps[place - 1].hold else 1
        counting = [number for number, one in enumerate(self.readings.loads) if not one.set_aside]
        self._set_aside(counting[-back], "the step was repeated")
        return place - back

    def _lies(self) -> tuple[str, ...]:
        return self.readings.loads[-1].masses if self.readings.loads else ()

    def _words(self, step: PlannedStep, lies: tuple[str, ...]) -> str:
        if not step.masses:
            return "empty the pan, touch nothing, Enter"
        grams = sum(self._nominal_g[name] for name in step.masses)
        on = [name for name in step.masses if name not in lies]
        off = [name for name in lies if name not in step.masses]
        moves = [f"{word} {', '.join(names)}" for word, names in (("take off", off), ("lay on", on)) if names]
        return f"on the pan: {' '.join(step.masses)} ({grams:g} g; {', '.join(moves) or 'as before'}), let go, Enter"

    def _read(self, step: PlannedStep) -> None:
        reading = read_settled(self._sitting, self._settle)
        row = LoadReading(
            masses=step.masses,
            mean_counts=reading.mean_counts,
            sd_counts=reading.sd_counts,
            samples=reading.samples,
            time_s=reading.time_s,
            settled=reading.settled,
        )
        self.readings = replace(self.readings, loads=(*self.readings.loads, row))
        self._tell(reading)

    def _tell(self, reading: SettledReading) -> None:
        stated = self._sitting.rig.calibration.force.physical(reading.mean_counts)
        rest = "" if reading.settled else f"; it did not come to rest: {reading.why_not}"
        again = f"; begun again {reading.begun_again} times, samples were lost" if reading.begun_again else ""
        self._guide.tell(f"  {reading.mean_counts:.1f} counts ({stated:.4f} N uncalibrated){rest}{again}")

    def _keeps(self, faults: list[Fault], cycle: int) -> bool:
        self._guide.tell(f"cycle {cycle + 1} shows what looks like a mistake:")
        for fault in faults[:MOST_TOLD]:
            self._guide.tell(f"  {fault.words}; {fault.advice}")
        if len(faults) > MOST_TOLD:
            self._guide.tell(f"  and {len(faults) - MOST_TOLD} more")
        answer = self._guide.ask("r repeats this cycle (advised), Enter keeps it as it is, q stops")
        return answer is Answer.GO_ON

    def _set_aside(self, first: int, why: str) -> None:
        """Mark readings from a place on as not counting; those that were set aside before keep their reason."""
        kept = self.readings.loads[:first]
        aside = tuple(replace(one, set_aside=one.set_aside or why) for one in self.readings.loads[first:])
        self.readings = replace(self.readings, loads=(*kept, *aside))
