"""From a limits file to limits in our units: everything that is wrong is told with file, line, reason and remedy.

How it works: pydantic knows entries and kinds of values; what hangs together (measurand and unit, lower and upper,
keys that are there) is asked here, entry by entry, and told at the line where it stands.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from processing.errors import MalformedLimits
from processing.keyboard import COLOURS, COMPARED
from processing.limits.document import LimitEntry, LimitsFile, LineEntry, OfMeasurand, Ruled, SpreadEntry, StepEntry
from processing.limits.findings import CANNOT_TELL, DOUBTFUL_FLAGS, FAIL, FINDINGS
from processing.limits.types import Expected, How, LetoffLimit, Limits, Line, SpreadLimit, StepLimit, ValueLimit
from processing.measurand_units import UNIT_OF, factor_for, like_it
from processing.toml_file import Place, TomlFault, fault_at, read_toml
from recordings.errors import UnknownKey, UnknownUnit
from recordings.keys import ALL_KEYS, Key, parse_keys
from rig.profiles.toml_place import line_of_key

STANDS_OUT = ("letoff", *(compared.name for compared in COMPARED))


def read_limits(path: Path) -> Limits:
    """Return the limits in a TOML file. Raises MalformedLimits with file, line, reason and remedy."""
    try:
        told, text = read_toml(path, LimitsFile)
        return _Reader(path, text, told).limits()
    except TomlFault as fault:
        raise MalformedLimits(str(fault)) from fault


@dataclass(frozen=True, slots=True)
class _Reader:
    """One file while it is read."""

    path: Path
    text: str
    told: LimitsFile

    def limits(self) -> Limits:
        told, found = self.told, self.told.findings
        self._demand_something()
        expected = self._expected()
        return Limits(
            name=told.name,
            file_name=self.path.name,
            sha256=hashlib.sha256(self.path.read_bytes()).hexdigest(),
            expected=expected,
            values=self._values(expected),
            steps=tuple(self._step(entry, n, expected) for n, entry in enumerate(told.step)),
            spreads=tuple(self._spread(entry, n) for n, entry in enumerate(told.spread)),
            letoff=self._letoff(expected),
            fail_on=self._codes(found.fail, FAIL, FINDINGS, "fail"),
            cannot_tell_on=self._codes(found.cannot_tell, CANNOT_TELL, FINDINGS, "cannot_tell"),
            stands_out_in=self._codes(found.stands_out, (), STANDS_OUT, "stands_out"),
        )

    def fault(self, place: Place, why: str) -> TomlFault:
        return fault_at(self.path, self.text, place, why)

    def _demand_something(self) -> None:
        told = self.told
        if not (told.limit or told.step or told.spread or told.letoff):
            raise self.fault((), "it limits nothing; write a table [[limit]], [[step]], [[spread]] or [letoff]")

    def _expected(self) -> Expected:
        told = self.told.expected
        flags = self._codes(told.allowed_flags, (), tuple(DOUBTFUL_FLAGS), "allowed_flags", table="expected")
        return Expected(
            instrument=told.instrument,
            keys=self._keys(told.keys, ("expected", "keys"), ALL_KEYS, None),
            stated_at=told.stated_at,
            bed_newton=told.bed_force_newton,
            touch_newton=told.touch_force_newton,
            strokes=told.strokes,
            allowed_flags=flags,
        )

    def _codes(
        self,
        told: Iterable[str] | None,
        default: tuple[str, ...],
        known: tuple[str, ...],
        entry: str,
        *,
        table: str = "findings",
    ) -> frozenset[str]:
        codes = default if told is None else tuple(told)
        for number, code in enumerate(codes):
            if code not in known:
                raise self.fault((table, entry, number), f"there is no {code!r}; known are {', '.join(known)}")
        return frozenset(codes)

    def _keys(self, told: str, place: Place, among: tuple[Key, ...], colour: str | None) -> tuple[Key, ...]:
        """Return the keys that a text names, of a colour, among those expected; at least one."""
        try:
            named = parse_keys(told)
        except UnknownKey as fault:
            raise self.fault(place, f"{fault}; write C4, A0..C8, naturals, sharps or all") from fault
        chosen = tuple(key for key in named if key in among and colour in (None, key.colour))
        if not chosen:
            why = f"no {colour or 'key'} of {told} is among the expected keys; name others, or widen `expected.keys`"
            raise self.fault(place, why)
        return chosen

    def _factor(self, entry: OfMeasurand, table: str, n: int) -> float:
        if entry.measurand not in UNIT_OF:
            why = f"{entry.measurand!r} is no measurand; {like_it(entry.measurand)}"
            raise self.fault((table, n, "measurand"), why)
        try:
            return factor_for(entry.measurand, entry.unit)
        except UnknownUnit as fault:
            why = f"{fault}; write one of these for {entry.measurand}, and its numbers with it"
            raise self.fault((table, n, "unit"), why) from fault

    def _how(self, entry: Ruled) -> How:
        return How(rule=entry.rule or self.told.rule, risk=entry.risk or self.told.risk)

    def _values(self, expected: Expected) -> tuple[ValueLimit, ...]:
        values = tuple(self._value(entry, n, expected) for n, entry in enumerate(self.told.limit))
        for n, limit in enumerate(values):
            for earlier in range(n):
                self._demand_agreement(earlier, values[earlier], n, limit)
        return values

    def _demand_agreement(self, first: int, one: ValueLimit, second: int, other: ValueLimit) -> None:
        """Refuse two limits that no key can keep both."""
        if one.measurand != other.measurand:
            return
        unit = self.told.limit[second].unit
        factor = factor_for(other.measurand, unit)
        for key in sorted(one.keys & other.keys):
            for low, high, word in ((other, one, "lower"), (one, other, "upper")):
                lower, upper = low.ends(key)[0], high.ends(key)[1]
                if lower is not None and upper is not None and lower >= upper:
                    line = line_of_key(self.text, ("limit", first))
                    why = f"no {one.measurand} is at least {lower / factor:g} and at most {upper / factor:g} {unit}"
                    beside = f"as this and limit {first + 1} (line {line}) ask of {key.name}"
                    raise self.fault(("limit", second, word), f"{why}, {beside}; change one, or its keys")

    def _value(self, entry: LimitEntry, n: int, expected: Expected) -> ValueLimit:
        factor = self._factor(entry, "limit", n)
        keys = self._keys(entry.keys, ("limit", n, "keys"), expected.keys, entry.colour)
        if entry.lower is None and entry.upper is None:
            raise self.fault(("limit", n), "it has neither `lower` nor `upper`; give one at least")
        limit = ValueLimit(
            measurand=entry.measurand,
            unit=UNIT_OF[entry.measurand],
            lower=_line(entry.lower, factor),
            upper=_line(entry.upper, factor),
            keys=frozenset(keys),
            how=self._how(entry),
        )
        self._demand_room(limit, factor, n)
        return limit

    def _demand_room(self, limit: ValueLimit, factor: float, n: int) -> None:
        for key in sorted(limit.keys):
            lower, upper = limit.ends(key)
            if lower is not None and upper is not None and lower >= upper:
                why = f"lower {lower / factor:g} is not below upper {upper / factor:g} at {key.name}; exchange them"
                raise self.fault(("limit", n, "lower"), f"{why}, or leave one of them out")

    def _step(self, entry: StepEntry, n: int, expected: Expected) -> StepLimit:
        factor = self._factor(entry, "step", n)
        return StepLimit(
            measurand=entry.measurand,
            unit=UNIT_OF[entry.measurand],
            within=factor * entry.within,
            keys=frozenset(self._keys(entry.keys, ("step", n, "keys"), expected.keys, entry.colour)),
            how=self._how(entry),
        )

    def _spread(self, entry: SpreadEntry, n: int) -> SpreadLimit:
        return SpreadLimit(
            measurand=entry.measurand,
            unit=UNIT_OF.get(entry.measurand, ""),
            upper=self._factor(entry, "spread", n) * entry.upper,
            colours=COLOURS if entry.colour is None else (entry.colour,),
            how=self._how(entry),
        )

    def _letoff(self, expected: Expected) -> LetoffLimit | None:
        told = self.told.letoff
        if told is None:
            return None
        return LetoffLimit(told.required, frozenset(self._keys(told.keys, ("letoff", "keys"), expected.keys, None)))


def _line(told: LineEntry | None, factor: float) -> Line | None:
    return None if told is None else Line(factor * told.A0, factor * told.C8)
