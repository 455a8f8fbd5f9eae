"""From what lay on the rig and what it showed to scales with uncertainty. Pure: no port, no file but the mass list.

`masses.py` and `gravity.py` make masses into forces; `fit.py` is the line or parabola through readings;
`force_steps.py` and `mistakes.py` look at a loading sequence; `displacement_steps.py`, `compliance.py`, `skew.py` and
`contact_point.py` do the rest. `settings.py` holds every knob, `data/` the limits of the standards.
"""
