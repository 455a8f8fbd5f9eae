"""What was learned from reference units, in sentences: what is promised, what is not, and how many units are wanted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import floor

from processing.display import Units, with_unit
from processing.limits.learned import Learned, Proposal
from processing.limits.of_a_key import CAPTION_OF
from processing.statistics.settings import StatisticsSettings
from recordings.keys import Key

COARSE_IN_US = 2.0
"""Limits nearer to the middle than so many shared uncertainties are no wider than the rig's own 95 % interval."""
MANY = 6
"""More names than this are counted and not told one by one."""


def learned_sentences(learned: Learned) -> list[str]:
    """Return what the limits as a whole rest on, most important first."""
    return [
        *_promise(learned),
        *_units_wanted(learned),
        *_cautions(learned),
        *_left_out(learned),
    ]


def proposal_sentences(proposal: Proposal, units: Units) -> list[str]:
    """Return the limits of one measurand and colour, and what is behind them."""
    told, unit = proposal.told, proposal.unit
    name = f"{CAPTION_OF[proposal.measurand]}, {proposal.colour}s"
    within = f"the keys of a unit {'' if told.units > 1 else 'scatter '}by {with_unit(told.within, unit, units)}"
    between = f"units scatter by {with_unit(told.between, unit, units)}, " if told.units > 1 else ""
    sentences = [
        f"{name}: {_limits(proposal, units)}; {between}{within}",
        f"  of that {with_unit(proposal.own_u, unit, units)} is measurement of the key itself; "
        f"{with_unit(proposal.shared_u, unit, units)} more is shared by all keys of a recording and not in the limits",
    ]
    if proposal.half_width < COARSE_IN_US * proposal.shared_u:
        sentences.append(
            "  what all keys share is as large as the limits are wide: they are good for this calibration only"
        )
    if proposal.off_unit is not None:
        sentences.append(
            f"  {proposal.off_unit} lies off the other units as a whole and makes limits wider: is it good?"
        )
    if proposal.curved:
        sentences.append("  its keys lie along a curve, and limits about a line are wider for it: split them by `keys`")
    return sentences


def _limits(proposal: Proposal, units: Units) -> str:
    ends = []
    for place, key in enumerate(("A0", "C8")):
        upper = with_unit(proposal.upper[place], proposal.unit, units)
        if proposal.lower is None:
            ends.append(f"at most {upper} at {key}")
        else:
            ends.append(f"{with_unit(proposal.lower[place], proposal.unit, units)} to {upper} at {key}")
    return ", ".join(ends)


def _promise(learned: Learned) -> list[str]:
    chosen, count = learned.settings, len(learned.units)
    if count == 1:
        return [
            f"one unit tells nothing about how units differ: the limits hold keys of {learned.units[0]} alone, and a "
            "good further unit may lie outside as a whole; give two units at least, better ten"
        ]
    share, sure = _percent(chosen.coverage), _percent(chosen.confidence)
    values = len(learned.keys) * len({one.measurand for one in learned.proposals})
    surely = _at_least_percent(learned.by_extremes.surely_covers)
    return [
        f"{count} units: with {sure} confidence each limit holds {share} of the keys of all such units, if units and "
        "keys scatter like the bell curve about a line from A0 to C8 (tolerance intervals as in ISO 16269-6, with two "
        "levels of variation: keys of one unit are not as many units)",
        f"of {values} numbers of a good unit up to {values * (1.0 - chosen.coverage):.2g} may then lie outside",
        f"without the bell curve: in at least {surely} of further units all keys of a colour lie, in any one "
        "measurand, between the lowest and the highest seen here about the line; to say that of "
        f"{_percent(chosen.units_coverage)} takes {learned.units_for_extremes} units",
    ]


def _units_wanted(learned: Learned) -> list[str]:
    if len(learned.units) == 1:
        return []
    wanted = [one.units_wanted for one in learned.proposals]
    known = [count for count in wanted if count is not None]
    within = _percent(learned.settings.excess)
    short = [one for one in learned.proposals if one.units_wanted is None or one.units_wanted > one.told.units]
    if not short:
        return [f"that is enough: more units would bring limits in by less than {within}"]
    most = "more units than can be counted" if len(known) < len(wanted) else f"about {max(known)} units"
    names = _listed(f"{CAPTION_OF[one.measurand]} of {one.colour}s" for one in short)
    return [
        f"{len(learned.units)} units are few for {names}: with more the limits would stand more than {within} closer; "
        f"as far as these units tell, it takes {most} to bring them within {within} of the closest possible"
    ]


def _cautions(learned: Learned) -> list[str]:
    said = []
    if len(learned.models) > 1:
        said.append(f"the units are not called alike: {_listed(learned.models)}; limits are for one model")
    if learned.without_serial and len(learned.units) > 1:
        said.append(
            f"{_listed(learned.without_serial)}: without a serial number nobody can tell that they are different units"
        )
    if learned.uncalibrated:
        said.append(
            f"{_listed(learned.uncalibrated)}: not calibrated, or by an expired or foreign record: the limits are good "
            "for the same rig as it stands, and units so measured are judged only if `allowed_flags` says so"
        )
    fewest = StatisticsSettings().fewest_keys
    said += [
        f"no limits for {colour}s: it takes {fewest} good keys of a colour in a unit, and there are {count} at most"
        for colour, count in learned.most_good.items()
        if 0 < count < fewest
    ]
    if learned.letoff is None:
        said.append("not every key has a let-off, so none is demanded")
    return said


def _left_out(learned: Learned) -> list[str]:
    said = []
    if learned.odd_keys:
        said.append(f"no examples, since checks call them odd or found nothing: {_named(learned.odd_keys)}")
    stood_out = {
        (f"{label} ({CAPTION_OF[one.measurand]})", key) for one in learned.proposals for label, key in one.stood_out
    }
    if stood_out:
        said.append(f"left out, since they stand out of their unit: {_named(sorted(stood_out))}")
    return said


def _named(places: Sequence[tuple[str, Key]]) -> str:
    return _listed(f"{key.name} of {label}" for label, key in places)


def _listed(names: Iterable[str]) -> str:
    some = list(names)
    rest = f" and {len(some) - MANY} more" if len(some) > MANY else ""
    return ", ".join(some[:MANY]) + rest


def _percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"


def _at_least_percent(share: float) -> str:
    """Return a share that is surely reached in two figures, rounded downward."""
    percent = 100.0 * share
    return f"{floor(percent)} %" if percent >= 10.0 else f"{floor(10.0 * percent) / 10.0:g} %"
