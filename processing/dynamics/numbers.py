"""From what the dynamic steps have shown to measurements: value, budget, flags, or the reason why there is none.

How it works: each number is made by one function from what it needs; lines come from `sources.py`, the calibration's
from its covariance with sensitivities in closed form, since lengths and speeds are in proportion to the scale of
displacement and the mass to force over displacement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from processing.budget.calibration_lines import (
    BACKLASH,
    COMPLIANCE,
    DISPLACEMENT_POWERS,
    FORCE_POWERS,
    CalibrationDoubt,
    calibration_lines,
)
from processing.budget.lines import AS_GOOD_AS_KNOWN_DOF, Budget, Correlation, Line
from processing.budget.propagation import combine
from processing.dynamics import sources
from processing.dynamics.lifts import Bracket
from processing.dynamics.mass import LadderMass
from processing.dynamics.repetition import Limit
from processing.dynamics.response import Response, speed_for
from processing.dynamics.sources import BY_NAME
from processing.dynamics.zero_speed import ZeroSpeed
from processing.inertia import PRIOR_U_KG, Mass
from processing.rectangular import factor_share
from processing.settings import Settings
from processing.stages import Measurement

ROOT_3 = float(np.sqrt(3.0))
TYPICAL_NEWTON = 1.0
"""Force of a ramp, for the share of a scale's curvature in the mass."""
KNOWN_SHARE = 0.25
"""A hand's strokes tell of the mass if they leave this share of what is open for any key."""
RINGING_SHARE = 0.10
"""Bound for what ringing hides of a mass by a ladder: 3 to 4 % are usual on virtual keys, 8 % were seen."""
GIVING_WAY_SHARE = 0.25
"""Bound for what a tremor's friction adds to a mass: a fifth was seen on virtual keys."""
MS = 1e3


@dataclass(frozen=True, slots=True)
class Context:
    """What every number needs."""

    settings: Settings
    doubt: CalibrationDoubt | None
    flags: tuple[str, ...]

    def number(
        self,
        name: str,
        unit: str,
        value: float,
        lines: list[Line],
        *,
        flags: tuple[str, ...] = (),
        answers: Mapping[str, float] | None = None,
    ) -> Measurement:
        """Return a measurement. answers: its sensitivities to constants of the calibration; those left out are 0."""
        correlations: tuple[Correlation, ...] = ()
        if self.doubt is not None and answers:
            more, correlations = calibration_lines(self.doubt, lambda constant: answers.get(constant, 0.0))
            lines = [*lines, *more]
        coverage = self.settings.uncertainty.coverage
        plain = Budget(measurand=name, unit=unit, value=value, lines=tuple(lines), correlations=correlations)
        bounds = (abs(line.contribution) for line in lines if line.distribution == "rectangular")
        share = factor_share(max(bounds, default=0.0), combine(plain).u, coverage)
        budget = replace(plain, factor_share=share)
        total = combine(budget)
        return Measurement(
            name=name,
            unit=unit,
            value=value,
            u=total.u,
            dof=total.dof,
            coverage_factor=total.coverage_factor(coverage),
            flags=(*self.flags, *flags),
            budget=budget,
        )


def missing(name: str, unit: str, reason: str) -> Measurement:
    """Return a number that could not be had, with the reason."""
    return Measurement(name=name, unit=unit, value=None, reason=reason)


def note_latency(line: ZeroSpeed, context: Context) -> Measurement:
    """Slope of observed place on speed, ms."""
    flags = ("stroke_left_out",) if line.left_out else ()
    u = BY_NAME[sources.TO_ZERO_SPEED].line(MS * line.latency_u_s, "ms", line.dof)
    return context.number("note_latency", "ms", MS * line.latency_s, [u], flags=flags)


def reset_height(bracket: Bracket, dip: Measurement, context: Context) -> Measurement:
    """Midway between the highest lift that failed and the lowest that worked, mm."""
    dip_mm, height_mm = dip.value or 0.0, bracket.middle_mm
    lines = [
        BY_NAME[sources.BRACKET].line(bracket.half_gap_mm / ROOT_3, "mm", AS_GOOD_AS_KNOWN_DOF),
        BY_NAME[sources.DIP].line(dip.u or 0.0, "mm", dip.dof or AS_GOOD_AS_KNOWN_DOF),
    ]
    answers = {
        DISPLACEMENT_POWERS[0]: height_mm,
        DISPLACEMENT_POWERS[1]: dip_mm**2 - (dip_mm - height_mm) ** 2,
        COMPLIANCE: -context.settings.feature.bed_newton,
        BACKLASH: 1.0,
    }
    flags = ("lifts_disagree",) if bracket.crossed else ()
    return context.number("reset_height", "mm", height_mm, lines, flags=flags, answers=answers)


def sustain_window(bracket: Bracket, dip: Measurement, release: Measurement, context: Context) -> Measurement:
    """Release height less reset height, mm: from the place of reset up to that of note-off."""
    reset_mm, release_mm = (dip.value or 0.0) - bracket.middle_mm, release.value or 0.0
    lines = [
        BY_NAME[sources.BRACKET].line(bracket.half_gap_mm / ROOT_3, "mm", AS_GOOD_AS_KNOWN_DOF),
        BY_NAME[sources.RELEASE].line(release.u or 0.0, "mm", release.dof or AS_GOOD_AS_KNOWN_DOF),
    ]
    answers = {DISPLACEMENT_POWERS[0]: reset_mm - release_mm, DISPLACEMENT_POWERS[1]: reset_mm**2 - release_mm**2}
    return context.number("sustain_window", "mm", reset_mm - release_mm, lines, answers=answers)


def effective_mass(ladder: LadderMass | None, hand: Mass, context: Context) -> Measurement:
    """Mass felt at the key, kg: from the ladder if there is one, else from what a hand's strokes differ in."""
    if ladder is not None:
        kg = ladder.kg
        lines = [
            BY_NAME[sources.SPEEDS_LEFT_OUT].line(ladder.u_kg, "kg", ladder.dof),
            BY_NAME[sources.HALF_SAMPLE].line(ladder.moment_bound_kg / ROOT_3, "kg", AS_GOOD_AS_KNOWN_DOF),
            BY_NAME[sources.RINGING].line(RINGING_SHARE * ladder.kg / ROOT_3, "kg", AS_GOOD_AS_KNOWN_DOF),
        ]
    elif hand.u_kg <= KNOWN_SHARE * PRIOR_U_KG:
        kg = hand.kg
        lines = [
            BY_NAME[sources.STROKES_DIFFER].line(hand.u_kg, "kg", AS_GOOD_AS_KNOWN_DOF),
            BY_NAME[sources.GIVING_WAY].line(GIVING_WAY_SHARE * kg / ROOT_3, "kg", AS_GOOD_AS_KNOWN_DOF),
        ]
    else:
        return missing("effective_mass", "kg", "the strokes' accelerations do not differ enough; record `speeds`")
    answers = {
        FORCE_POWERS[0]: kg,
        FORCE_POWERS[1]: 2.0 * TYPICAL_NEWTON * kg,
        DISPLACEMENT_POWERS[0]: -kg,
    }
    return context.number("effective_mass", "kg", kg, lines, answers=answers)


def response_numbers(response: Response, context: Context) -> list[Measurement]:
    """Lowest and highest velocity reached, the speeds for some velocities, and the scatter at one speed."""
    ends = (("lowest_velocity", 0), ("highest_velocity", -1))
    numbers = [_velocity(name, response, place, context) for name, place in ends]
    numbers += [_speed_for(velocity, response, context) for velocity in (16, 64, 127)]
    return [*numbers, _repeatability(response, context)]


def _velocity(name: str, response: Response, place: int, context: Context) -> Measurement:
    scatter = (response.scatter or 0.0) / float(np.sqrt(response.counts[place]))
    lines = [
        BY_NAME[sources.SCATTER].line(scatter, "1", max(1.0, response.scatter_dof)),
        BY_NAME[sources.ROUNDING].line(response.rounding_u, "1", AS_GOOD_AS_KNOWN_DOF),
    ]
    flags = () if response.scatter_dof else ("single_stroke",)
    return context.number(name, "1", float(response.law_velocity[place]), lines, flags=flags)


def _speed_for(velocity: int, response: Response, context: Context) -> Measurement:
    name = f"speed_for_velocity_{velocity}"
    knobs = context.settings
    found = speed_for(
        float(velocity), response, seed=knobs.uncertainty.seed, widest_step=knobs.dynamic.widest_speed_step
    )
    if found is None:
        low, high = response.law_velocity[0], response.law_velocity[-1]
        slow, fast = response.law_mm_per_s[0], response.law_mm_per_s[-1]
        reason = f"the strokes, {slow:.1f} to {fast:.1f} mm/s, gave velocities from {low:.0f} to {high:.0f} only"
        return missing(name, "mm/s", reason)
    lines = [
        BY_NAME[sources.SCATTER].line(found.u_mm_per_s, "mm/s", _drawn_dof(response)),
        BY_NAME[sources.BEND].line(found.bend_bound_mm_per_s / ROOT_3, "mm/s", AS_GOOD_AS_KNOWN_DOF),
    ]
    return context.number(name, "mm/s", found.mm_per_s, lines, answers={DISPLACEMENT_POWERS[0]: found.mm_per_s})


def _drawn_dof(response: Response) -> float:
    """Return the degrees of freedom of scatter and rounding together, by Welch-Satterthwaite (GUM G.4.1)."""
    scatter, rounding = response.scatter or 0.0, response.rounding_u
    share = scatter**2 / (scatter**2 + rounding**2) if scatter else 0.0
    return min(AS_GOOD_AS_KNOWN_DOF, max(1, response.scatter_dof) / share**2) if share else AS_GOOD_AS_KNOWN_DOF


def _repeatability(response: Response, context: Context) -> Measurement:
    if response.scatter is None:
        return missing("velocity_repeatability", "1", "no two strokes were at one speed")
    u = response.scatter / float(np.sqrt(2.0 * response.scatter_dof))
    lines = [
        BY_NAME[sources.SCATTER].line(u, "1", float(response.scatter_dof)),
        BY_NAME[sources.ROUNDING].line(response.rounding_u, "1", AS_GOOD_AS_KNOWN_DOF),
    ]
    return context.number("velocity_repeatability", "1", response.scatter, lines)


def repetition_limit(limit: Limit, context: Context) -> Measurement:
    """Highest rate at which all presses sound, Hz."""
    lines = [BY_NAME[sources.RHYTHM].line(limit.rhythm_bound_hz / ROOT_3, "Hz", AS_GOOD_AS_KNOWN_DOF)]
    if limit.failed_hz is not None:
        over_hz = limit.failed_hz - limit.rate_hz
        lines.append(BY_NAME[sources.NEXT_RATE].line(over_hz / ROOT_3, "Hz", AS_GOOD_AS_KNOWN_DOF))
    flags = () if limit.failed_hz is not None else ("lower_bound",)
    return context.number("repetition_limit", "Hz", limit.rate_hz, lines, flags=flags)
