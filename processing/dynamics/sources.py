"""What makes a dynamic number uncertain: the lines of its budget by name, and why.

How it works: these numbers are not read off a curve, so the lines of `processing/budget/sources.py` do not concern
them; each has its own, listed here with the measurands that have it. Calibration lines come to those that hang on a
scale. `docs/budget.md` is written from here.
"""

from __future__ import annotations

from dataclasses import dataclass

from processing.budget.lines import Distribution, Kind, Line

TO_ZERO_SPEED = "line to zero speed"
BRACKET, DIP, RELEASE = "bracket of the lifts", "key dip", "place of the note's end"
SPEEDS_LEFT_OUT, HALF_SAMPLE = "each speed left out once", "half a sample between force and place"
RINGING = "ringing of the key on the rig's give"
STROKES_DIFFER, GIVING_WAY = "differences between the strokes", "friction that gives way under a tremor"
SCATTER, ROUNDING, BEND = (
    "scatter of the velocity",
    "whole numbers of the velocity",
    "bend of the law between two speeds",
)
NEXT_RATE, RHYTHM = "step to the rate that failed", "one sample in the row of presses"
SPEEDS_FOR = ("speed_for_velocity_16", "speed_for_velocity_64", "speed_for_velocity_127")
VELOCITIES = ("lowest_velocity", "highest_velocity")


@dataclass(frozen=True, slots=True)
class DynamicSource:
    """One line: what it is, which numbers have it, and why it is as large as it is."""

    name: str
    kind: Kind
    distribution: Distribution
    measurands: tuple[str, ...]
    why: str

    def line(self, u: float, unit: str, dof: float) -> Line:
        """Return the line, given its standard uncertainty in the measurand's unit."""
        return Line(name=self.name, kind=self.kind, distribution=self.distribution, u=abs(u), unit=unit, dof=dof)


DYNAMIC_SOURCES = (
    DynamicSource(
        TO_ZERO_SPEED, "A", "t",
        ("note_latency",),
        "covariance of the weighted line through strokes of several speeds; of places of the note too, read again with "
        "the note moved by so much",
    ),
    DynamicSource(
        BRACKET, "B", "rectangular", ("reset_height", "sustain_window"),
        "half the gap between the highest lift that failed and the lowest that worked",
    ),
    DynamicSource(DIP, "B", "normal", ("reset_height",), "the lift is counted from key dip, as sure as that is"),
    DynamicSource(
        RELEASE, "B", "normal", ("sustain_window",),
        "the window reaches from there to the place of reset; key dip falls out",
    ),
    DynamicSource(
        SPEEDS_LEFT_OUT, "A", "t", ("effective_mass",),
        "jackknife over the speeds of the ladder: strokes at one speed err alike",
    ),
    DynamicSource(
        HALF_SAMPLE, "B", "rectangular", ("effective_mass",),
        "the impulse of a ramp is wrong by so much of itself if force and place are half a sample apart",
    ),
    DynamicSource(
        RINGING, "B", "rectangular", ("effective_mass",),
        "while a hard-driven key rings its force is not all told; virtual keys came out up to a tenth too light",
    ),
    DynamicSource(
        STROKES_DIFFER, "A", "normal", ("effective_mass",),
        "without a ladder of speeds: the slope of force on acceleration between strokes of a hand",
    ),
    DynamicSource(
        GIVING_WAY, "B", "rectangular", ("effective_mass",),
        "by hand only: friction that gives way acts like mass; virtual keys came out up to a fifth too heavy",
    ),
    DynamicSource(
        SCATTER, "A", "t", (*VELOCITIES, *SPEEDS_FOR, "velocity_repeatability"),
        "pooled standard deviation at one speed; of the deviation itself s / sqrt(2 f)",
    ),
    DynamicSource(
        ROUNDING, "B", "rectangular", (*VELOCITIES, "velocity_repeatability"),
        "half a step either way; of the speeds it is in the drawn scatter; none with high-resolution velocity",
    ),
    DynamicSource(
        BEND, "B", "rectangular", SPEEDS_FOR,
        "straight over the speed the law would pass elsewhere; over a wide step of speed all of it is the bound",
    ),
    DynamicSource(
        NEXT_RATE, "B", "rectangular", ("repetition_limit",),
        "the truth lies below the rate that failed; none where the ladder ended first, and a flag says so",
    ),
    DynamicSource(
        RHYTHM, "B", "rectangular", ("repetition_limit",), "presses are timed to a sample over the whole row"
    ),
)  # fmt: skip
BY_NAME = {source.name: source for source in DYNAMIC_SOURCES}
DYNAMIC = tuple(dict.fromkeys(name for source in DYNAMIC_SOURCES for name in source.measurands))
"""All numbers that are evaluated here."""
