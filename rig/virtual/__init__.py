"""A bench that exists only in software, at the far end of the same protocol as a real one.

`key_action.py` is the mechanism under the plunger, `stage.py` and `sensors.py` the bench, `virtual_rig.py` the firmware
(told the time, never sleeping), `line_rig.py` a rig that only prints lines, `serve.py` the only module with a clock,
`truths.py` what the model itself knows.
"""
