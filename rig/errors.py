"""What can go wrong on the rig's side of the code.

MalformedScenario   (also ValueError)    a scenario file of the virtual rig does not say what it must
NoMotor             (also RuntimeError)  a hand was told to obey a Move
"""

from __future__ import annotations


class MalformedScenario(ValueError):
    """The scenario file does not say what a scenario must say; the text names file and place."""


class NoMotor(RuntimeError):
    """A hand was told to obey a Move: the caller's fault, who must refuse Moves while a hand holds the plunger."""

    def __init__(self, command: str) -> None:
        self.command = command
        super().__init__(f"no motor: a hand holds the plunger and obeys no {command}; refuse Moves on such a bench")
