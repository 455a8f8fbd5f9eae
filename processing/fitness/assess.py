"""The whole judgement of a rig: every item of a trial, then one verdict."""

from __future__ import annotations

from processing.errors import NotTried
from processing.fitness.judgement import Evidence, Fitness, Item, ItemResult, Judgement, Overall, gather
from processing.fitness.settings import FitnessSettings
from processing.fitness.table import ITEMS
from recordings.trial import Trial


def assess(trial: Trial, settings: FitnessSettings | None = None) -> Fitness:
    """Judge a rig by a trial of it.

    One item that is unfit makes the rig unfit; else an essential item that was not tried leaves it open; else it is
    fit, though items may be poor.
    """
    evidence = gather(trial, settings or FitnessSettings())
    items = tuple(ItemResult(item, _judged(item, evidence)) for item in ITEMS)
    return Fitness(
        started_at=trial.started_at,
        rig=trial.rig,
        calibration=trial.calibration,
        overall=_overall(items),
        items=items,
        settings=evidence.settings,
    )


def _judged(item: Item, evidence: Evidence) -> Judgement:
    try:
        return item.judge(evidence)
    except NotTried as absent:  # only this one: a bug must stay a crash
        return Judgement(
            verdict="not tried",
            values=(),
            poor_beyond=None,
            unfit_beyond=None,
            template=absent.why.replace("{", "{{").replace("}", "}}"),
            advice=absent.how,
        )


def _overall(items: tuple[ItemResult, ...]) -> Overall:
    if any(result.judgement.verdict == "unfit" for result in items):
        return "unfit"
    if any(result.item.essential and result.judgement.verdict == "not tried" for result in items):
        return "cannot tell"
    return "fit"
