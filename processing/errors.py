"""What can be missing while a recording is measured.

ProcessingError
 +-- NoStroke          the trace holds no press that can be measured
 +-- FeatureNotFound   one number cannot be had from these curves; becomes its reason, never an error
 +-- NoContactPoint    numbers for the front edge were asked for, and nobody has said where the plunger presses
 +-- EdgeExpected      limits are for the front edge, and nobody has said where the plunger presses
 +-- TooManyRecordings a report was asked for of more recordings than can be told apart in a picture
 +-- NothingInCommon   two recordings to be compared have measured no key that both have
 +-- ForeignChecks     check keys that belong to none of the keyboards
 +-- SameRecording     a recording was to be compared with itself, or to be its own check
 +-- MalformedMargins  a file of margins: file, place and reason
 +-- MalformedLimits   a limits file: file, line, reason and remedy
 +-- CannotLearn       limits were asked for from units that cannot tell any
 +-- UnknownEnding     a table was to be written in a format that is not known
 +-- MissingLibrary    a format whose library is not installed
 +-- FileIsThere       (also FileExistsError) a file is not written over another unless asked for
 +-- TooManyRows       more rows than the format holds
 +-- MalformedStudy    the plan, a table or a recording of a gauge study: file, place and reason
 +-- StudyUnfit        readings from which a gauge study cannot be made
 +-- NoUnitStore       (also FileNotFoundError) no store of units there, or an empty one
 +-- NoSuchModel       a store holds no unit of that model, or of several and none was chosen
 +-- TooFewUnits       a line is too short for limits; becomes "cannot tell"
 +-- UnknownBaseline   a unit that should begin or end a baseline is not in the line
 +-- StoreLibrary      a library of the store is not installed
 +-- StoreUnsettled    files of a store go on vanishing while they are read
 +-- NotTried          one item of a rig's fitness cannot be judged from this trial; becomes its verdict
"""

from __future__ import annotations

from pathlib import Path


class ProcessingError(Exception):
    """Anything that keeps a recording from being measured."""


class NoStroke(ProcessingError):
    """The trace holds no press that can be measured."""


class FeatureNotFound(ProcessingError):
    """One number cannot be had from these curves; the text says why, for a reader."""


class NoContactPoint(ProcessingError):
    """Numbers for the front edge were asked for, and nobody has said where the plunger presses."""

    def __init__(self) -> None:
        super().__init__(
            "the calibration record does not say how far behind the front edge the plunger presses and how long the "
            "lever is; leave --front-edge out, or give a record that does with --calibration"
        )


class EdgeExpected(ProcessingError):
    """Limits are for the front edge, and nobody has said where the plunger presses."""

    def __init__(self, limits_file: str) -> None:
        self.limits_file = limits_file
        super().__init__(
            f'{limits_file or "the limits"}: expected, stated_at: "front edge" is asked for, and the calibration '
            "record does not say how far behind the front edge the plunger presses and how long the lever is; "
            'write stated_at = "plunger" with limits for there, or give a record that does with --calibration'
        )


class TooManyRecordings(ProcessingError):
    """A report was asked for of more recordings than can be told apart in a picture."""

    def __init__(self, found: int, most: int) -> None:
        self.found, self.most = found, most
        super().__init__(f"{found} recordings; a report tells at most {most} apart: choose fewer")


class NothingInCommon(ProcessingError):
    """Two recordings to be compared have measured no key that both have."""

    def __init__(self, first: str, second: str, held: int = 0, unmeasured: str = "") -> None:
        """held: how many keys are in both recordings. unmeasured: the one that has measured none of them, if any."""
        self.first, self.second, self.held, self.unmeasured = first, second, held, unmeasured
        if held == 0:
            super().__init__(
                f"{first} and {second} have no measured key in common; record the same keys on both (`keyplumb "
                "info` tells which keys a recording holds)"
            )
            return
        keys = "one key" if held == 1 else f"{held} keys"
        where = f"in {unmeasured} no such key" if unmeasured else "no such key in both"
        super().__init__(
            f"{first} and {second} have {keys} in common, but {where} could be measured; `keyplumb measure` says of "
            "each recording why, and such keys must be recorded again"
        )


class ForeignChecks(ProcessingError):
    """A recording of check keys belongs to none of the keyboards, or shares no key with its own."""

    def __init__(self, place: str, why: str) -> None:
        self.place = place
        super().__init__(
            f"{place}: {why}; check keys are keys of the same keyboard (same --instrument and --serial), recorded again"
        )


class SameRecording(ProcessingError):
    """A recording was to be compared with itself, or to be its own check, or was given as a check twice."""

    def __init__(self, first: str, second: str) -> None:
        self.first, self.second = first, second
        super().__init__(f"{first} and {second} hold the same recording; give two different ones")


class MalformedMargins(ProcessingError):
    """A file of margins that cannot be understood; the text names file and place."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{why}; a margin is a table [[margin]] with measurand, within, unit and why")


class MalformedLimits(ProcessingError):
    """A limits file that cannot be understood; nothing is judged by it. The text names file, line, reason, remedy."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{why}. `keyplumb inspect --new-limits FILE` writes an example")


class CannotLearn(ProcessingError):
    """Limits were asked for from units that cannot tell any; the text says why and what to do."""

    def __init__(self, why: str) -> None:
        super().__init__(f"no limits can be learned from these units: {why}")


class UnknownEnding(ProcessingError):
    """A table was to be written in a format that is not known."""

    def __init__(self, name: str, known: tuple[str, ...]) -> None:
        self.name, self.known = name, known
        super().__init__(f"{name}: the ending of the name is the format; known are {' '.join(known)}")


class MissingLibrary(ProcessingError):
    """A format whose library is not part of the base install."""

    def __init__(self, ending: str, library: str) -> None:
        self.ending, self.library = ending, library
        super().__init__(
            f"a {ending} file needs the library {library}, which is not installed; "
            f"`pip install {library}` brings it, or write a .csv"
        )


class FileIsThere(ProcessingError, FileExistsError):
    """A file is not written over another unless that can be, and is, asked for."""

    def __init__(self, path: Path, remedy: str = "choose another name, or say --replace") -> None:
        self.path = path
        super().__init__(f"{path} exists already and is left alone; {remedy}")


class TooManyRows(ProcessingError):
    """More rows than the format holds."""

    def __init__(self, most: int) -> None:
        self.most = most
        super().__init__(f"an Excel sheet holds {most} rows, this table has more; fewer keys, or .parquet or .csv")


class MalformedStudy(ProcessingError):
    """The plan, a table or a recording of a gauge study that cannot be understood."""

    def __init__(self, place: str, why: str, remedy: str) -> None:
        self.place, self.why, self.remedy = place, why, remedy
        super().__init__(f"{place}: {why}; {remedy}")


class StudyUnfit(ProcessingError):
    """Readings from which a gauge study cannot be made: what is wrong, and what is needed."""

    def __init__(self, why: str, needed: str) -> None:
        self.why, self.needed = why, needed
        super().__init__(f"{why}; {needed}")


class NoUnitStore(ProcessingError, FileNotFoundError):
    """No store of units there, or an empty one."""

    def __init__(self, path: Path, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}; units come in with `keyplumb inspect UNIT.h5 --limits L.toml --store {path}`")


class NoSuchModel(ProcessingError):
    """A store holds no unit of a model, or units of several and none was chosen."""

    def __init__(self, path: Path, asked: str | None, known: tuple[str, ...]) -> None:
        self.path, self.asked, self.known = path, asked, known
        what = "holds units of several models" if asked is None else f"holds no unit of {asked!r}"
        super().__init__(f"{path} {what}; choose with --model one of {', '.join(known)}")


class TooFewUnits(ProcessingError):
    """A line is too short for limits, or nothing follows its baseline."""

    def __init__(self, model: str, units: int, baseline: int, fewest: int) -> None:
        self.model, self.units, self.baseline, self.fewest = model, units, baseline, fewest
        super().__init__(
            f"too few units for limits: {units} of {model}, of which {baseline} would be the baseline; it needs "
            f"{fewest} at least, and one after it to chart; add units, or choose another with --baseline"
        )


class UnknownBaseline(ProcessingError):
    """A unit that should begin or end a baseline is not in the line."""

    def __init__(self, asked: str, first: str, last: str) -> None:
        self.asked, self.first, self.last = asked, first, last
        super().__init__(
            f"{asked!r} is no unit of this line, which goes from {first} to {last}; say --baseline with two of its "
            "serial numbers, FROM..TO, or with a number of units"
        )


class BackwardBaseline(ProcessingError):
    """A baseline ends before it begins."""

    def __init__(self, first: str, last: str) -> None:
        self.first, self.last = first, last
        super().__init__(
            f"the baseline {first}..{last} ends before it begins: {last} was measured before {first}; "
            f"say --baseline {last}..{first} if you mean all between them"
        )


class LimitsOfOtherModel(ProcessingError):
    """Limits were to be held against units of a model that they are not for."""

    def __init__(self, limits: str, wanted: str, found: str) -> None:
        self.limits, self.wanted, self.found = limits, wanted, found
        super().__init__(
            f"{limits}: these limits are for {wanted} ([expected] instrument), the units are of {found}; "
            f"give limits for {found}"
        )


class StoreLibrary(ProcessingError):
    """A library of the store of units is not part of the base install."""

    def __init__(self, library: str) -> None:
        self.library = library
        super().__init__(
            f"the store of units needs the library {library}, which is not installed; "
            "`pip install 'keyplumb[line]'` brings it"
        )


class StoreUnsettled(ProcessingError):
    """Files of a store go on vanishing while they are read."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path}: its files went on vanishing while they were read; see that nothing but keyplumb tidies up there, "
            "and try again"
        )


class NotTried(ProcessingError):
    """One item of a rig's fitness cannot be judged from this trial: why, and how to try it."""

    def __init__(self, why: str, how: str) -> None:
        self.why, self.how = why, how
        super().__init__(f"{why}; {how}")
