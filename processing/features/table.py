"""All numbers of a key, in the order of the report. To add one: write it, list it here, test it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NoReturn

from processing.errors import FeatureNotFound
from processing.features import energy, letoff, notes, travel, weights
from processing.features.read_off import ReadOff


@dataclass(frozen=True, slots=True)
class Feature:
    """One measurand: its name and unit as in measurands.md, a caption for people, and what measures it."""

    name: str
    unit: str
    caption: str
    measure: Callable[[ReadOff], float]


def _needs(what: str) -> Callable[[ReadOff], NoReturn]:
    """Stand in for a number that is not read off a curve but evaluated in `processing/dynamics/`, where there is
    anything to evaluate."""

    def measure(_: ReadOff) -> NoReturn:
        raise FeatureNotFound(f"needs {what}")

    return measure


SPEEDS = "strokes at two speeds at least, one twice the other (programme `speeds` or `full`)"
VELOCITIES = "MIDI velocities of strokes at several speeds (programme `speeds` or `full`)"
LIFTS, ROWS = "partial lifts (programme `reset` or `full`)", "repetitions (programme `repetition` or `full`)"

FEATURES = (
    #       name                     unit    caption                                    measured by
    Feature("key_dip",               "mm",   "Key dip",                                  travel.key_dip),
    Feature("bed_contact",           "mm",   "Key bed begins",                           travel.bed_contact),
    Feature("aftertouch",            "mm",   "Aftertouch",                               travel.aftertouch),
    Feature("letoff_peak_position",  "mm",   "Let-off, place of the peak",               letoff.peak_position),
    Feature("letoff_peak_force",     "N",    "Let-off, force at the peak",               letoff.peak_force),
    Feature("letoff_onset_position", "mm",   "Let-off begins",                           letoff.onset_position),
    Feature("letoff_end_position",   "mm",   "Let-off ends",                             letoff.end_position),
    Feature("letoff_rise",           "N",    "Let-off, rise",                            letoff.rise),
    Feature("letoff_drop",           "N",    "Let-off, drop",                            letoff.drop),
    Feature("letoff_ratio",          "1",    "Let-off, tactile ratio",                   letoff.ratio),
    Feature("letoff_slope",          "N/mm", "Let-off, steepest fall",                   letoff.slope),
    Feature("letoff_work",           "mJ",   "Let-off, work",                            letoff.work),
    Feature("down_weight",           "N",    "Down weight",                              weights.down_weight),
    Feature("up_weight",             "N",    "Up weight",                                weights.up_weight),
    Feature("balance_weight",        "N",    "Balance weight",                           weights.balance_weight),
    Feature("friction",              "N",    "Friction",                                 weights.friction),
    Feature("weight_to_letoff",      "N",    "Weight that sinks the key to the notch",   weights.weight_to_letoff),
    Feature("weight_to_note",        "N",    "Weight that makes it sound",               weights.weight_to_note),
    Feature("lift_weight",           "N",    "Weight it lifts all the way home",         weights.lift_weight),
    Feature("breakaway",             "N",    "Break-away",                               weights.breakaway),
    Feature("damper_position",       "mm",   "Damper, place",                            weights.damper_position),
    Feature("damper_step",           "N",    "Damper, step",                             weights.damper_step),
    Feature("press_work",            "mJ",   "Work of the press",                        energy.press_work),
    Feature("return_work",           "mJ",   "Work of the return",                       energy.return_work),
    Feature("loop_work",             "mJ",   "Work lost",                                energy.loop_work),
    Feature("trigger_position",      "mm",   "Note starts",                              notes.trigger_position),
    Feature("trigger_margin",        "mm",   "Note after the notch by",                  notes.trigger_margin),
    Feature("release_position",      "mm",   "Note stops",                               notes.release_position),
    Feature("release_height",        "mm",   "Note stops above the dip by",              notes.release_height),
    Feature("note_latency",          "ms",   "Latency of the note",                      _needs(SPEEDS)),
    Feature("reset_height",          "mm",   "Reset above the dip by",                   _needs(LIFTS)),
    Feature("sustain_window",        "mm",   "Room to repeat with the note held",        _needs(LIFTS)),
    Feature("speed_at_trigger",      "mm/s", "Speed at note-on",                         notes.speed_at_trigger),
    Feature("effective_mass",        "kg",   "Effective mass",                           _needs(SPEEDS)),
    Feature("lowest_velocity",       "1",    "Lowest velocity",                          _needs(VELOCITIES)),
    Feature("highest_velocity",      "1",    "Highest velocity",                         _needs(VELOCITIES)),
    Feature("speed_for_velocity_16", "mm/s", "Speed for velocity 16",                    _needs(VELOCITIES)),
    Feature("speed_for_velocity_64", "mm/s", "Speed for velocity 64",                    _needs(VELOCITIES)),
    Feature("speed_for_velocity_127", "mm/s", "Speed for velocity 127",                  _needs(VELOCITIES)),
    Feature("velocity_repeatability", "1",   "Repeatability of the velocity",            _needs(VELOCITIES)),
    Feature("repetition_limit",      "Hz",   "Fastest repetition",                       _needs(ROWS)),
)  # fmt: skip
