"""The host's end of a rig that prints lines, on a real pseudo-terminal."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from math import inf
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from daq.errors import PortLost
from daq.line_link import LineLink, introduce
from daq.port import open_port
from daq.recorder import Recorder
from recordings.keys import Key
from recordings.partial import begin_recording
from recordings.reader import read_recording
from recordings.types import Damage, Header, RawEvents, RawTrace
from rig.profiles.profile import load_profile
from rig.virtual.line_rig import LineRig
from rig.virtual.scenario import keyboard_of, load_scenario
from rig.virtual.serve import open_wire, serve
from tests.builders import a_header
from tests.daq.test_link import FarEnd, wait_until

KEYS = keyboard_of(load_scenario("fern"))[39:40]
CSV, SPACES, COUNTER = (load_profile(name) for name in ("lines_csv", "lines_spaces", "lines_counter"))
SPEED = 40.0


@contextmanager
def a_line_link(profile=COUNTER) -> Iterator[tuple[FarEnd, LineLink]]:  # type: ignore[no-untyped-def]
    far = FarEnd()
    with LineLink(open_port(far.path), far.heard.append, profile) as link:
        yield far, link


def counted(*numbers: int) -> bytes:
    return b"".join(b"%d;0,5;1,25;;1;0\r\n" % number for number in numbers)


def test_lines_become_samples_and_damage_as_on_any_link() -> None:
    with a_line_link() as (far, link):
        far.send(b"7;0,5\r\n" + counted(8, 9) + b"nonsense\r\n" + counted(13, 14))
        wait_until(lambda: far.sample_numbers() == [8, 9, 13])
        assert link.last_tick_us == 13_000
        link.check()

    assert far.damage() == [("damaged_bytes", 8), ("lost_samples", 3)]
    assert far.sample_numbers() == [8, 9, 13, 14]  # the newest line is confirmed by the next, or by closing


def test_a_cable_put_back_goes_on_counting() -> None:
    with a_line_link() as (far, first):
        far.send(b"\n" + counted(1, 2, 3))
        wait_until(lambda: far.sample_numbers() == [1, 2])
    again = FarEnd()
    with LineLink(open_port(again.path), far.heard.append, COUNTER, first.decoder):
        again.send(b"0,5\r\n" + counted(9, 10))
        wait_until(lambda: 9 in far.sample_numbers())

    assert far.sample_numbers() == [1, 2, 3, 9, 10]
    assert far.damage() == [("lost_samples", 5)]


def test_a_rig_started_anew_is_told() -> None:
    with a_line_link() as (far, _):
        far.send(b"\n" + counted(*range(500, 510)) + counted(*range(10)))
        wait_until(lambda: len(far.sample_numbers()) == 15)

    assert far.damage()[-2:] == [("rig_restarted", 1), ("lost_samples", 4)]


def test_babble_is_told_together_and_counted_as_without_sense() -> None:
    with a_line_link(SPACES) as (far, link):
        far.send(b"\n" + b"\xff\xfe\n" * 200)
        wait_until(lambda: link.bytes_without_sense == 601)
        far.send(b"1 2\n")
        wait_until(lambda: far.sample_numbers() == [200])
        assert link.bytes_without_sense == 0

    assert far.damage() == [("damaged_bytes", 400), ("lost_samples", 200)]


def test_edges_of_the_foot_switch_are_events() -> None:
    with a_line_link() as (far, _):
        far.send(b"\n" + counted(1, 2) + counted(3, 4, 5).replace(b";1;0", b";0;1"))
        wait_until(lambda: any(isinstance(news, RawEvents) for news in far.heard))

    (events,) = (news for news in far.heard if isinstance(news, RawEvents))
    assert list(zip(events.tick_us, events.source, events.byte, strict=True)) == [(3000, 3, 1), (3000, 1, 1)]


def test_a_cable_that_is_pulled_is_told_to_the_waiting_side() -> None:
    far = FarEnd()
    with LineLink(open_port(far.path), far.heard.append, CSV) as link:
        far.hang_up()
        wait_until(lambda: raises(link, PortLost))


def test_a_sink_that_fails_is_told_to_the_waiting_side() -> None:
    def full(_: object) -> None:
        raise OSError(28, "no space left on device")

    far = FarEnd()
    with LineLink(open_port(far.path), full, CSV) as link:
        far.send(b"\n1000,1,2\n2000,1,2\n")
        wait_until(lambda: raises(link, OSError))
        with pytest.raises(OSError, match="no space left"):
            link.check()
    far.hang_up()


def raises(link: LineLink, kind: type[Exception]) -> bool:
    try:
        link.check()
    except kind:
        return True
    return False


class Watched(LineRig):
    """A rig that goes up and down by itself and remembers what its bench made."""

    def __init__(self, profile) -> None:  # type: ignore[no-untyped-def]
        super().__init__(KEYS, profile)
        self.made: list[NDArray[np.void]] = []
        bench, make = self.bench, self.bench.make_samples

        def make_and_remember(*words):  # type: ignore[no-untyped-def]
            if not bench.stage.moving:
                bench.stage.go(13.0 if bench.stage.screw_mm < 6.0 else 0.0, 15.0, 500.0)
            self.made.append(make(*words))
            return self.made[-1]

        bench.make_samples = make_and_remember  # type: ignore[method-assign]


@contextmanager
def a_served_rig(rig: LineRig) -> Iterator[str]:
    stop = threading.Event()
    with open_wire(None) as wire:
        words = {"speed": SPEED, "until": stop.is_set}
        served = threading.Thread(target=serve, args=(wire, rig), kwargs=words)
        served.start()
        try:
            yield wire.path
        finally:
            stop.set()
            served.join()


@pytest.mark.parametrize("profile", [CSV, SPACES, COUNTER], ids=lambda profile: profile.name)
def test_what_is_heard_is_what_the_bench_made(profile) -> None:  # type: ignore[no-untyped-def]
    """Through a real pseudo-terminal, 40 times faster than real time."""
    rig, heard = Watched(profile), list[RawTrace | RawEvents | Damage]()
    wanted = 10_000
    with a_served_rig(rig) as path, LineLink(open_port(path, baud=profile.baud), heard.append, profile) as link:
        wait_until(lambda: sum(len(news) for news in heard if isinstance(news, RawTrace)) > wanted, seconds=60.0)
        link.check()
    traces = [news for news in heard if isinstance(news, RawTrace)]
    made, calibration = np.concatenate(rig.made), introduce(profile).calibration
    shown = calibration.force.physical(np.concatenate([trace.force_counts for trace in traces]))
    way = calibration.displacement.physical(np.concatenate([trace.displacement_counts for trace in traces]))
    newton, mm = made["force_counts"] / 20_000, made["displacement_counts"] / 500
    half_newton = 0.500001 / abs(calibration.force.counts_per_unit)  # printed to the nearest count
    half_mm = 0.500001 / abs(calibration.displacement.counts_per_unit)
    start = next(at for at in range(len(made)) if (np.abs(newton[at : at + 50] - shown[:50]) <= half_newton).all())
    heard_of = slice(start, start + len(shown))

    assert not [news for news in heard if isinstance(news, Damage)]
    assert np.abs(shown - newton[heard_of]).max() <= half_newton
    assert np.abs(way - mm[heard_of]).max() <= half_mm
    assert np.ptp(shown) > 1.0  # it did press
    if profile.time is not None:
        assert np.concatenate([trace.tick_us for trace in traces]).tolist() == made["tick_us"][heard_of].tolist()
    if profile.counter is not None:
        assert traces[0].sample_number[0] == start


def test_a_profile_introduces_its_rig() -> None:
    """lines_spaces: 160 counts to the gf, falling; 1 gf = 9.80665 mN (3rd CGPM, 1901)."""
    rig, other = introduce(SPACES), introduce(CSV)

    assert (rig.info.model, rig.info.sample_rate_hz) == ("demo bench, raw counts", 500.0)
    assert not rig.has_motor
    assert not rig.has_carriage
    assert rig.calibration.force.counts_per_unit == pytest.approx(-160 / 0.00980665, rel=1e-12)
    assert rig.calibration.force.zero_counts == -8200
    assert rig.calibration.displacement.counts_per_unit == 400.0
    assert (rig.force_range_newton, rig.travel_mm) == (inf, (-inf, inf))  # not stated
    assert (other.force_range_newton, other.travel_mm) == (20.0, (0.0, 25.0))
    assert other.calibration.compliance_mm_per_newton == 0.02
    assert other.calibration.force_delay_us == 2000


def test_a_hand_press_is_recorded_like_any_other(tmp_path: Path) -> None:
    """The recorder takes what the link hears; the file keeps counts as they came."""
    header = Header(run=a_header().run, rig=introduce(COUNTER).info, calibration=introduce(COUNTER).calibration)
    recorder, key = Recorder(), Key.from_name("C4")
    far = FarEnd()
    with LineLink(open_port(far.path), recorder.add, COUNTER) as link:
        file = begin_recording(tmp_path / "r.h5", header)
        recorder.open(file)
        recorder.begin_key(key)
        far.send(b"\n" + counted(1, 2, 3, 6, 7))
        wait_until(lambda: link.last_tick_us == 6000)
        recorder.end_key("by hand", "recorded")
        recorder.close()
    file.finish()
    far.hang_up()
    (kept,) = read_recording(tmp_path / "r.h5").keys

    assert kept.trace.sample_number.tolist() == [1, 2, 3, 6]
    assert kept.trace.displacement_counts.tolist() == [1_250_000] * 4
    assert [(damage.kind, damage.amount) for damage in kept.damage] == [("lost_samples", 2)]
