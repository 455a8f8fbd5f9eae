"""What can go wrong on the rig's side of the code.

MalformedScenario   (also ValueError)  a scenario file of the virtual rig does not say what it must
"""

from __future__ import annotations


class MalformedScenario(ValueError):
    """The scenario file does not say what a scenario must say; the text names file and place."""
