"""A load that does not fit, held against what people do with masses.

How it works: for a visit, the difference between true and stated load is compared with every mass that may have been
left off or left on, and every exchange of one for another; the nearest within the uncertainty is named, with those that
are as near. Two visits, or two masses, whose differences are each other's are an exchange.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from processing.calibration.load_search import Suspect
from processing.calibration.sequence import LoadStep

LoadCode = Literal[
    "forgotten_mass", "extra_mass", "mass_in_place_of_another", "swapped_masses", "swapped_steps", "wrong_mass",
    "wrong_reading",
]  # fmt: skip
SIGMAS = 5.0
"""An explanation must lie this near to the difference, in standard uncertainties of it."""
NEAR_SHARE = 0.02
"""Or this near in shares of the difference: a scale that is slightly off does not hide who it was."""
MOST_NAMED = 3
"""More explanations than this name nobody."""


@dataclass(frozen=True, slots=True)
class LoadMistake:
    """A load that is not as stated; fields as in `mistakes.Mistake`."""

    code: LoadCode
    step: int | None
    masses: tuple[str, ...]
    off_newton: float
    words: str
    advice: str


@dataclass(frozen=True, slots=True)
class _Reason:
    code: LoadCode
    masses: tuple[str, ...]
    off_newton: float
    words: str


def explain(
    suspects: Sequence[Suspect], steps: Sequence[LoadStep], mass_newton: Mapping[str, float]
) -> tuple[LoadMistake, ...]:
    """Return each suspect in words, exchanges as one. mass_newton: force of every mass of the list, by its name."""
    told: list[LoadMistake] = []
    done: set[int] = set()
    for place, one in enumerate(suspects):
        if place in done:
            continue
        partner = next(
            (k for k in range(place + 1, len(suspects)) if _exchanged(one, suspects[k], steps, mass_newton)), None
        )
        if partner is not None:
            done.add(partner)
            told.append(_exchange(one, suspects[partner]))
        else:
            told.append(_visit(one, steps, mass_newton) if one.visit else _mass(one, mass_newton))
    return tuple(told)


def _near(one: Suspect, expected_newton: float) -> bool:
    return abs(one.off_newton - expected_newton) < max(SIGMAS * one.u_newton, NEAR_SHARE * abs(expected_newton))


def _exchanged(one: Suspect, other: Suspect, steps: Sequence[LoadStep], mass_newton: Mapping[str, float]) -> bool:
    """Tell whether each of two visits, or two masses, carried what the other should have."""
    if one.visit and other.visit:
        load = [sum(mass_newton[name] for name in steps[each.visit[0]].masses) for each in (one, other) if each.visit]
    elif len(one.masses) == 1 and len(other.masses) == 1:
        load = [mass_newton[one.masses[0]], mass_newton[other.masses[0]]]
    else:
        return False
    return _near(one, load[1] - load[0]) and _near(other, load[0] - load[1])


def _exchange(one: Suspect, other: Suspect) -> LoadMistake:
    if one.visit and other.visit:
        first, second = sorted((one.visit[0], other.visit[0]))
        words = f"steps {first + 1} and {second + 1} were exchanged: each shows the load of the other"
        return LoadMistake(
            "swapped_steps", first, (), one.off_newton, words, "repeat both steps in the order asked for"
        )
    names = (one.masses[0], other.masses[0])
    words = f"masses {names[0]} and {names[1]} were exchanged wherever they lay"
    return LoadMistake(
        "swapped_masses", None, names, one.off_newton, words, "look at the marks on both and begin again"
    )


def _visit(one: Suspect, steps: Sequence[LoadStep], mass_newton: Mapping[str, float]) -> LoadMistake:
    assert one.visit is not None
    first = one.visit[0]
    fitting = [reason for reason in _reasons(steps[first].masses, mass_newton) if _near(one, reason.off_newton)]
    fitting.sort(key=lambda reason: (_RANK[reason.code], abs(reason.off_newton - one.off_newton)))
    fitting = [reason for reason in fitting if _RANK[reason.code] == _RANK[fitting[0].code]]
    shown = (
        f"step {first + 1} carried {abs(one.off_newton):.4f} N {'more' if one.off_newton > 0 else 'less'} than stated"
    )
    if not fitting or len(fitting) > MOST_NAMED:
        words = f"{shown}: something touched the pan, or a load that is not in the list"
        return LoadMistake(
            "wrong_reading", first, (), one.off_newton, words, "look at what lies there, and repeat the step"
        )
    words = f"{shown}: {', or '.join(reason.words for reason in fitting)}"
    named = tuple(dict.fromkeys(name for reason in fitting for name in reason.masses))
    return LoadMistake(
        fitting[0].code, first, named, one.off_newton, words, "look at what lies there, and repeat the step"
    )


_RANK: dict[LoadCode, int] = {"forgotten_mass": 0, "extra_mass": 0, "mass_in_place_of_another": 1}
"""One slip is likelier than two."""


def _reasons(stack: Sequence[str], mass_newton: Mapping[str, float]) -> list[_Reason]:
    off = [name for name in mass_newton if name not in stack]
    found = [
        _Reason("forgotten_mass", (name,), -mass_newton[name], f"mass {name} was forgotten") for name in set(stack)
    ]
    found += [_Reason("extra_mass", (name,), mass_newton[name], f"mass {name} lay on too") for name in off]
    found += [
        _Reason(
            "mass_in_place_of_another",
            (laid, asked),
            mass_newton[laid] - mass_newton[asked],
            f"mass {laid} lay in place of {asked}",
        )
        for asked in sorted(set(stack))
        for laid in off
    ]
    return found


def _mass(one: Suspect, mass_newton: Mapping[str, float]) -> LoadMistake:
    """Return a mass that is another than stated wherever it lay; rivals are masses that would explain it as well."""
    alike = [one.masses, *(rival.masses for rival in one.rivals if rival.masses)]
    names = tuple(dict.fromkeys(name for group in alike for name in group))
    amount = f"{abs(one.off_newton):.4f} N {'more' if one.off_newton > 0 else 'less'} than stated"
    if len(names) > 1:
        words = f"one of the masses {', '.join(names)} pushes {amount}; this sequence cannot tell which"
        advice = "weigh them one by one, or lay them in other company, and begin again"
        return LoadMistake("wrong_mass", None, names, one.off_newton, words, advice)
    name = names[0]
    instead = [other for other in mass_newton if other != name and _near(one, mass_newton[other] - mass_newton[name])]
    if 0 < len(instead) <= MOST_NAMED:
        words = f"mass {' or '.join(instead)} lay in place of {name} all along ({amount})"
        advice = "look at the marks on them and begin again"
        return LoadMistake("mass_in_place_of_another", None, (*instead, name), one.off_newton, words, advice)
    words = f"mass {name} pushes {amount} wherever it lay: a wrong mass, dirt or damage, or a slip in the list"
    return LoadMistake(
        "wrong_mass", None, names, one.off_newton, words, "compare it with its certificate and begin again"
    )
