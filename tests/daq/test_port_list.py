"""Which ports answer as a rig."""

from __future__ import annotations

import os
import tty

from daq.port_list import ask_port
from tests.daq.test_survey import a_rig


def test_a_rig_names_itself_and_the_port_is_free_again() -> None:
    with a_rig() as port:
        first, second = ask_port(port), ask_port(port)

    assert first.rig == second.rig == "virtual bench V-0001, 1000 samples a second"


def test_a_port_without_a_rig_says_that_it_is_silent() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    answer = ask_port(os.ttyname(slave))
    os.close(master)
    os.close(slave)

    assert answer.rig is None
    assert "nothing heard" in (answer.why_not or "")


def test_a_port_that_is_not_there_says_so() -> None:
    assert "no such port" in (ask_port("/dev/tty-of-nobody").why_not or "")
