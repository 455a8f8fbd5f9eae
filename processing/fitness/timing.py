"""Do the samples come as the rig says they do?"""

from __future__ import annotations

from collections import Counter

import numpy as np

from processing.errors import NotTried
from processing.fitness.judgement import Evidence, Judgement, Value, graded


def sample_rate(evidence: Evidence) -> Judgement:
    """The ticks of the rest must show the sample rate that the rig states, and it must be fast enough for a curve."""
    settings, stated_hz = evidence.settings, evidence.trial.rig.sample_rate_hz
    if not stated_hz:
        raise NotTried("the rig states no sample rate", "have its firmware state one in its Hello")
    rate_hz = evidence.rate_hz
    off = abs(rate_hz / stated_hz - 1.0)
    verdict = graded(off, settings.rate_poor_share, settings.rate_unfit_share)
    advice = "" if verdict == "fit" else "look for a wrong rate or a wrong tick in the rig's firmware"
    if verdict == "fit" and rate_hz < settings.slowest_rate_hz:
        verdict = "poor"
        advice = f"let-offs are blurred below {settings.slowest_rate_hz:g} Hz at 4 mm/s; survey more slowly"
    return Judgement(
        verdict=verdict,
        values=(Value("off", 100.0 * off, "%"), Value("measured", rate_hz, "Hz"), Value("stated", stated_hz, "Hz")),
        poor_beyond=100.0 * settings.rate_poor_share,
        unfit_beyond=100.0 * settings.rate_unfit_share,
        template="{} by its ticks, {} stated: {} off",
        numbers=((rate_hz, "Hz"), (stated_hz, "Hz"), (100.0 * off, "%")),
        advice=advice,
    )


def tick_jitter(evidence: Evidence) -> Judgement:
    """From sample to sample the ticks must rise by the same step."""
    settings, rest = evidence.settings, evidence.trial.rest
    period_us = 1e6 / evidence.rate_hz
    off_us = np.diff(rest.tick_us) / np.diff(rest.sample_number) - period_us
    worst_us, scatter_us = float(np.abs(off_us).max()), float(off_us.std())
    verdict = graded(worst_us, settings.jitter_poor_us, settings.jitter_unfit_us)
    if (np.diff(rest.tick_us) <= 0).any():
        verdict = "unfit"
    return Judgement(
        verdict=verdict,
        values=(Value("worst", worst_us, "us"), Value("standard_deviation", scatter_us, "us")),
        poor_beyond=settings.jitter_poor_us,
        unfit_beyond=settings.jitter_unfit_us,
        template="{} apart, scatter {}, the worst {} off",
        numbers=((period_us, "us"), (scatter_us, "us"), (worst_us, "us")),
        advice="" if verdict == "fit" else "have the rig stamp samples where they are taken, not where they are sent",
    )


def samples_lost(evidence: Evidence) -> Judgement:
    """Every sample must arrive, and nothing else."""
    settings, traces = evidence.settings, evidence.trial.traces()
    told: Counter[str] = Counter()
    for damage in evidence.trial.damage:
        told[damage.kind] += damage.amount
    got = sum(len(trace) for trace in traces)
    missing = sum(int((np.diff(trace.sample_number) - 1).sum()) for trace in traces if len(trace))
    lost = max(missing, told["lost_samples"])
    if not got:
        raise NotTried("no sample has come", "look whether the rig streams at all")
    share = lost / (lost + got)
    verdict = graded(share, 0.0, settings.lost_unfit_share)
    if verdict == "fit" and told:
        verdict = "poor"
    return Judgement(
        verdict=verdict,
        values=(
            Value("lost_share", 100.0 * share, "%"),
            Value("lost", lost, "samples"),
            Value("received", got, "samples"),
            Value("damage_reports", len(evidence.trial.damage), "1"),
        ),
        poor_beyond=0.0,
        unfit_beyond=100.0 * settings.lost_unfit_share,
        template="{}, none lost, no byte damaged" if verdict == "fit" else _told_template(told),
        numbers=((got, "samples"),) if verdict == "fit" else ((lost, "samples"), (got + lost, "samples")),
        advice="" if verdict == "fit" else "change the cable, keep it off motor leads, try another port or hub",
    )


def _told_template(told: Counter[str]) -> str:
    kinds = ", ".join(f"{amount} {kind.replace('_', ' ')}" for kind, amount in sorted(told.items()))
    return "{} lost of {}" + (f"; the link tells of {kinds}" if kinds else "")
