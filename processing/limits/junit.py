"""A verdict as JUnit XML, which build servers and line software read: a test suite a unit, a test case a key.

How it works: a key that fails is a `failure`; one that cannot be told is an `error`, for the test has not come to a
verdict; one that was not judged is `skipped`; one that passes has none of them. What is about the unit as a whole is a
case of its own, the first one. The label stands in the suite's properties.
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.etree import ElementTree

from processing.calibration_status import marked
from processing.display import Units
from processing.limits.conformity import Outcome
from processing.limits.sentences import label, unit_name
from processing.limits.types import Limits
from processing.limits.verdict import NOT_JUDGED, Decision, KeyOutcome, UnitVerdict, outcome_of

THE_UNIT = "the unit"
TAGS: dict[Outcome, str] = {"fail": "failure", "cannot tell": "error"}
NO_XML = {code: None for code in range(32) if code not in (9, 10, 13)}
"""Control characters, which no XML text may hold."""


@dataclass(frozen=True, slots=True)
class Case:
    """One test case."""

    name: str
    outcome: KeyOutcome
    decisions: tuple[Decision, ...]


def junit_xml(verdict: UnitVerdict, limits: Limits, units: Units) -> bytes:
    """Return a verdict as a JUnit XML document in UTF-8, in the reader's units."""
    units = marked(units, verdict.header)
    whole = Case(THE_UNIT, outcome_of(verdict.of_the_unit), verdict.of_the_unit)
    cases = [whole, *(Case(key.key.name, key.outcome, key.decisions) for key in verdict.keys)]
    outcomes = [case.outcome for case in cases]
    counts = {
        "tests": str(len(cases)),
        "failures": str(outcomes.count("fail")),
        "errors": str(outcomes.count("cannot tell")),
        "skipped": str(outcomes.count(NOT_JUDGED)),
    }
    suites = ElementTree.Element("testsuites", counts)
    name = _clean(unit_name(verdict.header.run))
    started = verdict.header.run.started_at
    suite = ElementTree.SubElement(
        suites, "testsuite", {"name": name, "timestamp": f"{started:%Y-%m-%dT%H:%M:%S}", **counts}
    )
    properties = ElementTree.SubElement(suite, "properties")
    for entry, text in (*label(verdict.header, limits), ("outcome", verdict.outcome)):
        ElementTree.SubElement(properties, "property", {"name": entry, "value": _clean(text)})
    for case in cases:
        _add_case(suite, case, name, units)
    ElementTree.indent(suites)
    document: bytes = ElementTree.tostring(suites, encoding="utf-8", xml_declaration=True)
    return document


def _add_case(suite: ElementTree.Element, case: Case, of_unit: str, units: Units) -> None:
    element = ElementTree.SubElement(suite, "testcase", {"classname": of_unit, "name": case.name})
    if case.outcome == NOT_JUDGED:
        ElementTree.SubElement(element, "skipped", {"message": "not judged: no limit is about it"})
    reasons = [one for one in case.decisions if one.outcome != "pass"]
    if not reasons:
        return
    words = [_clean(one.in_words(units)) for one in reasons]
    told = ElementTree.SubElement(
        element, TAGS[outcome_of(case.decisions)], {"type": _clean(reasons[0].code), "message": words[0]}
    )
    told.text = "\n".join(f"{one.outcome}: {text}" for one, text in zip(reasons, words, strict=True))


def _clean(text: str) -> str:
    return text.translate(NO_XML)
