"""`make decision-risks`: how often verdicts are wrong, against what is stated; and whether learned limits hold.

How it works: true values are drawn from a process and measured with u, by hundreds of thousands; each is passed, failed
or left undecided by the guard bands of `conformity.py`. What is passed though it is bad, and not passed though it is
good, is counted and held against the integrals of `risks.py`; what happens to a key whose true value lies just on a
limit is held against the stated risk, with u known and with u estimated from a few degrees of freedom. Then whole
studies are simulated: some units of a model, limits learned from them, and the share of all keys within, by arithmetic.
Limits lie at -1 and 1. Beside every share stands its own 95 % interval (Clopper & Pearson, Biometrika 26:404, 1934; by
scipy).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr
from scipy.stats import binomtest

from processing.limits.conformity import Rule, acceptance_limits, guard_band
from processing.limits.learned import LearnSettings
from processing.limits.proposal import MIDDLE, proposed
from processing.limits.risks import GlobalRisks, global_risks
from processing.statistics.series import Series
from processing.statistics.shared import nothing_shared
from recordings.keys import ALL_KEYS

Array = NDArray[np.float64]
RULES: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "guarded rejection")
LOWER, UPPER, RISK = -1.0, 1.0, 0.05
KNOWN = 1e9
"""Degrees of freedom of a u that is known."""
IMPOSSIBLE = 1e-4
"""A row is off if a difference so large has a smaller probability than this; there are about thirty rows."""
NATURALS = tuple(key.number for key in ALL_KEYS if key.colour == "natural")


@dataclass(frozen=True)
class Counted:
    """How often something happened, and how often it should: just so, at most or at least."""

    what: str
    trials: int
    hits: int
    stated: float
    kind: str = "equal"

    @property
    def interval(self) -> tuple[float, float]:
        low, high = binomtest(self.hits, self.trials).proportion_ci(0.95)
        return float(low), float(high)

    @property
    def holds(self) -> bool:
        unlike = {"equal": "two-sided", "at most": "greater", "at least": "less"}[self.kind]
        return bool(binomtest(self.hits, self.trials, self.stated, alternative=unlike).pvalue > IMPOSSIBLE)


@dataclass(frozen=True, kw_only=True)
class Run:
    """Keys from a normal process, measured with a known u, and the rule that they are decided by."""

    rule: Rule
    u: float
    mean: float = 0.2
    sd: float = 0.5

    @property
    def zone(self) -> tuple[float, float]:
        found = acceptance_limits(self.u, KNOWN, lower=LOWER, upper=UPPER, rule=self.rule, risk=RISK)
        if found is None:
            raise ValueError(f"nothing passes with u = {self.u}: take a smaller one")
        return found

    def stated(self) -> GlobalRisks:
        low, high = self.zone
        return global_risks(self.mean, self.sd, self.u, lower=LOWER, upper=UPPER, accept_lower=low, accept_upper=high)

    def counted(self, random: np.random.Generator, trials: int) -> tuple[Counted, Counted]:
        """Return what was passed though bad, and what was not passed though good."""
        true = self.mean + self.sd * random.standard_normal(trials)
        read = true + self.u * random.standard_normal(trials)
        good = (true >= LOWER) & (true <= UPPER)
        passed = (read >= self.zone[0]) & (read <= self.zone[1])
        stated, words = self.stated(), f"{self.rule}, u {self.u:g}, process {self.mean:g} ± {self.sd:g}"
        return (
            Counted(f"consumer's risk, {words}", trials, int((passed & ~good).sum()), stated.consumer),
            Counted(f"producer's risk, {words}", trials, int((~passed & good).sum()), stated.producer),
        )


def on_the_limit(random: np.random.Generator, trials: int, dof: float) -> tuple[Counted, Counted]:
    """Return how often a key whose true value lies on its only limit is passed, and how often it is failed.

    u is 1 in truth; with few degrees of freedom each key has its own estimate of it.
    """
    u = np.ones(trials) if dof == KNOWN else np.sqrt(random.chisquare(dof, trials) / dof)
    beyond = random.standard_normal(trials)
    guard = guard_band(1.0, dof, lower=None, upper=0.0, rule="guarded acceptance", risk=RISK)
    outward = guard_band(1.0, dof, lower=None, upper=0.0, rule="guarded rejection", risk=RISK)
    words = "u known" if dof == KNOWN else f"u by {dof:g} degrees of freedom"
    passed, failed = int((beyond <= -guard * u).sum()), int((beyond > outward * u).sum())
    return (
        Counted(f"a key on the limit passes guarded acceptance, {words}", trials, passed, RISK),
        Counted(f"a key on the limit fails guarded rejection, {words}", trials, failed, RISK),
    )


@dataclass(frozen=True, kw_only=True)
class Study:
    """A model whose units differ by `between`, and keys of a unit by `within`, off a line."""

    units: int
    between: float
    within: float = 0.01
    tilt: float = 0.0
    """How units differ in slope: standard deviation of what that makes at either end."""
    fading: float = 0.0
    """Correlation of next neighbours."""

    @property
    def words(self) -> str:
        said = f"{self.units} units, units {self.between:g}, keys {self.within:g}"
        said += f", tilts {self.tilt:g}" if self.tilt else ""
        return said + (f", neighbours correlate by {self.fading:g}" if self.fading else "")


def holds(study: Study, random: np.random.Generator, settings: LearnSettings) -> bool:
    """Return whether limits learned from a study's units hold as large a share of all keys as they promise."""
    away = np.array(NATURALS) - MIDDLE
    line = 1.0 - 0.001 * away
    learned = proposed({str(unit): _a_unit(study, line, away, random) for unit in range(study.units)}, settings)
    assert learned is not None
    share_along = (np.array(NATURALS) - 1.0) / 87.0
    lower, upper = (
        np.full(len(away), -np.inf) if ends is None else ends[0] + (ends[1] - ends[0]) * share_along
        for ends in (learned.lower, learned.upper)
    )
    spread = np.sqrt(study.between**2 + study.within**2 + (study.tilt * away / MIDDLE) ** 2)
    return float(np.mean(ndtr((upper - line) / spread) - ndtr((lower - line) / spread))) >= settings.coverage


def _a_unit(study: Study, line: Array, away: Array, random: np.random.Generator) -> Series:
    keys = random.standard_normal(len(line))
    for place in range(1, len(keys)):
        keys[place] = study.fading * keys[place - 1] + np.sqrt(1.0 - study.fading**2) * keys[place]
    off, tilt = random.standard_normal(2)
    values = line + study.between * off + study.tilt * tilt * away / MIDDLE + study.within * keys
    return Series(
        name="friction",
        unit="N",
        colour="natural",
        numbers=NATURALS,
        values=values,
        own_u=np.full(len(line), 1e-6),
        own_dof=np.full(len(line), 100.0),
        shared=nothing_shared("N", len(values)),
    )


STUDIES = (
    Study(units=2, between=0.01),
    Study(units=3, between=0.02),
    Study(units=5, between=0.0),
    Study(units=5, between=0.01),
    Study(units=10, between=0.005),
    Study(units=30, between=0.01),
)
BEYOND_THE_MODEL = (
    Study(units=5, between=0.01, tilt=0.01),
    Study(units=5, between=0.01, fading=0.5),
)
"""What the limits do not reckon with; shown, not judged."""


def rows(trials: int, studies: int, seed: int) -> Iterator[tuple[Counted, bool]]:
    """Yield what was counted, and whether it is judged."""
    random = np.random.default_rng(seed)
    for rule in RULES:
        for u in (0.02, 0.1, 0.3):
            yield from ((counted, True) for counted in Run(rule=rule, u=u).counted(random, trials))
    for dof in (2.0, 10.0, KNOWN):
        yield from ((counted, True) for counted in on_the_limit(random, trials, dof))
    settings = LearnSettings(excess=1e9)
    for study in (*STUDIES, *BEYOND_THE_MODEL):
        held = sum(holds(study, random, settings) for _ in range(studies))
        what = f"learned limits hold {settings.coverage:.1%} of keys, {study.words}"
        yield Counted(what, studies, held, settings.confidence, "at least"), study in STUDIES


def main() -> int:
    """Print the table; 1 if a judged row is off beyond chance."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--trials", type=int, default=1_000_000, help="keys a row (default 1000000)")
    parser.add_argument("--studies", type=int, default=1000, help="studies of learned limits a row (default 1000)")
    parser.add_argument("--seed", type=int, default=106, help="of all draws (default 106)")
    parser.add_argument("--json", action="store_true", help="the rows as JSON")
    wanted = parser.parse_args()
    told = []
    for row, judged in rows(wanted.trials, wanted.studies, wanted.seed):
        told.append((row, judged))
        if not wanted.json:
            low, high = row.interval
            mark = "" if not judged else "  holds" if row.holds else "  OFF"
            print(
                f"{row.what:88}{row.hits / row.trials:8.3%}  {low:7.3%}..{high:.3%}  of {row.trials}"
                f"  {row.kind} {row.stated:.3%}{mark}",
                flush=True,
            )
    if wanted.json:
        listed = [{**asdict(row), "judged": judged, "holds": row.holds} for row, judged in told]
        print(json.dumps({"schema": "keyplumb.decision-risks/1", "rows": listed}))
    return int(any(judged and not row.holds for row, judged in told))


if __name__ == "__main__":
    sys.exit(main())
