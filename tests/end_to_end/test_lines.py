"""A rig that only prints lines, from the command line: a program of its own, found by `ports`."""

from __future__ import annotations

import subprocess

from daq.line_link import LineLink
from daq.port import open_port
from recordings.types import Damage, RawEvents, RawTrace
from rig.profiles.profile import load_profile
from tests.daq.test_link import wait_until
from tests.end_to_end.test_demo import KEYPLUMB


def test_a_served_line_rig_is_recognised_and_can_be_read() -> None:
    words = [*KEYPLUMB, "virtual-rig", "--lines", "lines_csv"]
    heard: list[RawTrace | RawEvents | Damage] = []
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as rig:
        assert rig.stdout is not None
        assert rig.stderr is not None
        port = rig.stdout.readline().strip()
        answer = subprocess.run([*KEYPLUMB, "ports", port], capture_output=True, text=True, check=True).stdout
        with LineLink(open_port(port), heard.append, load_profile("lines_csv")) as link:
            wait_until(lambda: sum(len(news) for news in heard if isinstance(news, RawTrace)) >= 200)
            link.check()
        rig.terminate()
        said = rig.stderr.read()

    assert answer.startswith(f"{port}: prints lines of text at 921600 Bd, e.g. '")
    assert "lost lines show as steps" in said
    assert not [news for news in heard if isinstance(news, Damage)]
