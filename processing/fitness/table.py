"""All items of a rig's fitness, in the order of the report. To add one: write it, list it here, test it."""

from __future__ import annotations

from processing.fitness import converter, motion, quiet, room, timing
from processing.fitness.judgement import Item

ITEMS = (
    #    name                  caption                    essential judged by
    Item("sample_rate",        "Sample rate",             True,  timing.sample_rate),
    Item("tick_jitter",        "Sample timing",           True,  timing.tick_jitter),
    Item("samples_lost",       "Losses on the cable",     True,  timing.samples_lost),
    Item("force_alive",        "Force channel",           True,  converter.force_alive),
    Item("displacement_alive", "Displacement channel",    True,  converter.displacement_alive),
    Item("force_codes",        "Force bits",              False, converter.force_codes),
    Item("displacement_codes", "Displacement bits",       False, converter.displacement_codes),
    Item("saturation",         "Range of the force",      True,  room.saturation),
    Item("zero",               "Zero of the force",       True,  room.zero),
    Item("noise",              "Noise of one sample",     True,  quiet.noise),
    Item("noise_density",      "Noise density",           True,  quiet.density),
    Item("mains_hum",          "Mains hum",               False, quiet.hum),
    Item("drift",              "Drift of the zero",       True,  quiet.drift),
    Item("stability",          "Wander of the zero",      False, quiet.stability),
    Item("moving_noise",       "Noise while moving",      False, motion.moving_noise),
    Item("air_force",          "Force in the air",        False, motion.air_force),
    Item("encoder",            "Displacement when moved", True,  motion.encoder),
    Item("polarity",           "Sign of the force",       True,  motion.polarity),
    Item("force_limit",        "Force limit",             True,  motion.force_limit),
)  # fmt: skip
