"""Lines of text -> samples: every way of arriving, every kind of damage, and nothing that was printed is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.profiles.line_encoder import LineEncoder, Switches
from rig.profiles.line_items import DamagedLine, LineEdges, LineItem, LineSamples, LostLines
from rig.profiles.lines import LONGEST_LINE, LineDecoder
from rig.profiles.profile import Profile, built_in_profiles, load_profile, parse_profile
from rig.protocol.messages import Source
from tests.rig.test_frames import byte_by_byte, in_random_pieces, whole

CSV, SPACES, COUNTER = (load_profile(name) for name in ("lines_csv", "lines_spaces", "lines_counter"))
OPENED = b"rest of a line\n"


def a_profile(head: str, force: str = 'unit = "mN"', displacement: str = 'unit = "um"') -> Profile:
    text = f"""
name = "test"
baud = 9600
{head}
[force]
column = 1
{force}
[displacement]
column = 2
{displacement}
"""
    return parse_profile(text, "test.toml")


PLAIN = a_profile('separator = ","\ncolumns = 2\nrate_hz = 1000.0')


def decoded(profile: Profile, pieces: Iterable[bytes]) -> list[LineItem]:
    decoder = LineDecoder(profile)
    return [item for piece in pieces for item in decoder.feed(piece)] + decoder.close()


@dataclass
class Heard:
    """What came out of some lines, joined."""

    number: list[int]
    tick_us: list[int]
    force: list[int]
    displacement: list[int]
    edges: list[tuple[int, int, int]]
    damage: list[str]
    lost: int


def heard(profile: Profile, *pieces: bytes) -> Heard:
    return joined(decoded(profile, [OPENED, *pieces]))


def joined(items: list[LineItem]) -> Heard:
    samples = [item for item in items if isinstance(item, LineSamples)]
    edges = [item for item in items if isinstance(item, LineEdges)]
    return Heard(
        [n for item in samples for n in item.sample_number.tolist()],
        [n for item in samples for n in item.tick_us.tolist()],
        [n for item in samples for n in item.force_counts.tolist()],
        [n for item in samples for n in item.displacement_counts.tolist()],
        [tuple(map(int, row)) for item in edges for row in zip(item.tick_us, item.source, item.byte, strict=True)],
        [item.reason for item in items if isinstance(item, DamagedLine)],
        sum(item.count for item in items if isinstance(item, LostLines)),
    )


def counted(*numbers: int, foot: str = "1") -> bytes:
    """Lines of the profile with a counter."""
    return b"".join(b"%d;0,5;1,25;;%b;0\n" % (number, foot.encode()) for number in numbers)


def stamped(*times_us: int) -> bytes:
    """Lines of the profile with a time stamp."""
    return b"".join(b"%d,1.5,2.5\n" % time_us for time_us in times_us)


@pytest.mark.parametrize("cut", [whole, byte_by_byte, in_random_pieces])
@pytest.mark.parametrize("line_end", [b"\n", b"\r", b"\r\n", b"\n\r", b"\r\r\n\n"])
def test_lines_decode_however_they_arrive_and_end(cut: Callable[[bytes], list[bytes]], line_end: bytes) -> None:
    lines = [b"rest of a line", b"1000,2.5,-0.25", b"# a word", b" 2000 , 3.5 ,\t0.75 ", b"nonsense", b"3000,4,1e1"]
    heard_of = heard(CSV, *cut(b"".join(line + line_end for line in lines[1:])))

    assert heard_of.tick_us == [1000, 2000, 3000]
    assert heard_of.displacement == [2500, 3500, 4000]
    assert heard_of.force == [-250, 750, 10_000]
    assert heard_of.damage == ["1 columns, not 3"]


def test_the_line_in_the_middle_of_which_the_port_was_opened_is_passed_over_and_is_no_damage() -> None:
    items = decoded(PLAIN, [b"3.5,7\n", b"123.5,7\n"])

    (samples,) = (item for item in items if isinstance(item, LineSamples))
    assert samples.force_counts.tolist() == [123_500]
    assert len(items) == 1


def test_a_line_that_has_not_ended_waits() -> None:
    assert heard(PLAIN, b"1,2\n3,4").force == [1000]


DAMAGE = [
    pytest.param(PLAIN, b"1,2,3", "3 columns, not 2", id="a column too many"),
    pytest.param(PLAIN, b"1", "1 columns, not 2", id="a column too few"),
    pytest.param(PLAIN, b"1,x", "column 2 (displacement): 'x' is no number", id="a word"),
    pytest.param(PLAIN, b",2", "column 1 (force): '' is no number", id="nothing"),
    pytest.param(PLAIN, b"1,nan", "column 2 (displacement): 'nan' is no number", id="not a number"),
    pytest.param(PLAIN, b"-inf,2", "column 1 (force): '-inf' is no number", id="infinite"),
    pytest.param(PLAIN, b"1_0,2", "column 1 (force): '1_0' is no number", id="what only Python reads as a number"),
    pytest.param(PLAIN, b"1e999,2", "column 1 (force): '1e999' is out of range", id="infinite by its exponent"),
    pytest.param(PLAIN, b"2147483.648,2", "column 1 (force): '2147483.648' is out of range", id="beyond 32 bits"),
    pytest.param(PLAIN, b"1,\xb52", "byte 0xb5 is no text", id="beyond ASCII"),
    pytest.param(PLAIN, b"1,\x002", "byte 0x00 is no text", id="a zero byte"),
    pytest.param(PLAIN, b"1" * 40 + b"x,2", f"column 1 (force): '{'1' * 24}...' is no number", id="quoted in part"),
    pytest.param(SPACES, b"1.5 2", "column 1 (displacement): '1.5' is no whole number", id="counts are whole"),
    pytest.param(SPACES, b"1 2147483648", "column 2 (force): '2147483648' is out of range", id="counts have 32 bits"),
    pytest.param(COUNTER, b"65536;1;1;;1;0", "column 1 (counter): '65536' is out of range", id="beyond the modulus"),
    pytest.param(COUNTER, b"-1;1;1;;1;0", "column 1 (counter): '-1' is no whole number", id="a counter below zero"),
    pytest.param(COUNTER, b"1;1;1;;2;0", "column 5 (foot_switch): '2' is neither 0 nor 1", id="a switch half way"),
    pytest.param(COUNTER, b"1;1.5;1;;1;0", "column 2 (force): '1.5' is no number", id="the other decimal sign"),
    pytest.param(CSV, b"4294967296,1,1", "column 1 (time): '4294967296' is out of range", id="time beyond its wrap"),
]


@pytest.mark.parametrize(("profile", "line", "reason"), DAMAGE)
def test_damage_is_told_with_its_reason_and_the_stream_goes_on(profile: Profile, line: bytes, reason: str) -> None:
    count = 20
    good = an_encoding(profile, count).split(b"\r\n")[:count]
    damaged = [*good[:10], line, *good[10:]]
    alone = heard(profile, *(each + b"\r\n" for each in damaged))
    together = heard(profile, b"\r\n".join([*damaged, b""]))

    assert alone.damage == together.damage == [reason]
    assert len(alone.force) == len(together.force) == count


def test_a_line_without_end_is_damage_and_memory_stays_bounded() -> None:
    decoder = LineDecoder(PLAIN)
    decoder.feed(OPENED)
    for _ in range(50):
        assert decoder.feed(b"5" * 1000) == []
    assert len(decoder._waiting) <= LONGEST_LINE

    damage, *_ = decoder.feed(b"\n1,2\n")
    assert damage == DamagedLine(50_000, f"no line end within {LONGEST_LINE} bytes")


def test_noise_before_the_first_line_end_is_no_beginning_of_a_line() -> None:
    first, *_ = LineDecoder(PLAIN).feed(b"5" * (LONGEST_LINE + 1) + b"\n")

    assert isinstance(first, DamagedLine)


def test_the_sign_stands_in_the_scale_and_counts_stay_as_printed() -> None:
    """lines_spaces: 160 counts to the gf, -8200 without load, falling; 1 gf = 9.80665 mN (3rd CGPM, 1901)."""
    (counts,) = heard(SPACES, b"120 -24200\n").force
    newton = (counts - SPACES.force.zero_counts) / SPACES.force.kept_per_newton_or_mm

    assert counts == -24_200
    assert newton == pytest.approx(100 * 0.00980665, rel=1e-12)  # 16000 counts / 160 = 100 gf


@pytest.mark.parametrize("unit", ["N", "mN", "gf", "kgf", "ozf", "lbf"])
@given(st.integers(-(10**6), 10**6), st.integers(0, 6))
def test_a_printed_force_is_kept_to_the_nearest_micronewton(unit: str, digits: int, decimals: int) -> None:
    """Decimal arithmetic on the printed text is the truth; where the float lies on a half, either neighbour is near."""
    profile = a_profile('separator = ";"\ndecimal = ","\ncolumns = 2\nrate_hz = 100.0', f'unit = "{unit}"')
    printed = Decimal(digits).scaleb(-decimals)
    exact = (
        printed
        * {
            "N": Decimal(10**6),
            "mN": Decimal(10**3),
            "gf": Decimal("9806.65"),
            "kgf": Decimal("9806650"),
            "lbf": Decimal("4448221.6152605"),
            "ozf": Decimal("4448221.6152605") / 16,
        }[unit]
    )
    if abs(exact) >= 2**31 - 1:
        return
    (kept,) = heard(profile, f"{printed:f};0\n".replace(".", ",").encode()).force

    assert abs(Decimal(kept) - exact) <= Decimal("0.500001")
    if decimals <= {"N": 6, "mN": 3, "gf": 3, "kgf": 6, "lbf": 6, "ozf": 5}[unit]:  # steps of 1 uN and more: no loss
        back = (Decimal(kept) * printed / exact) if exact else Decimal(0)
        assert back.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_EVEN) == printed


@pytest.mark.parametrize("unit_us", [("s", 10**6), ("ms", 10**3), ("us", 1)], ids=lambda unit: unit[0])
@given(st.integers(0, 4 * 10**15))
def test_a_time_is_kept_to_the_microsecond_for_a_century(unit_us: tuple[str, int], time_us: int) -> None:
    unit, us = unit_us
    profile = a_profile(f'separator = ","\ncolumns = 3\n[time]\ncolumn = 3\nunit = "{unit}"')

    assert heard(profile, f"1,2,{Decimal(time_us) / us:f}\n".encode()).tick_us == [time_us]


def an_encoding(profile: Profile, count: int, first: int = 0) -> bytes:
    number = first + np.arange(count, dtype=np.int64)
    ticks = np.rint(number * (profile.period_us or 1000.0)).astype(np.int64)
    force, displacement = np.arange(count, dtype=np.int32), 2 * np.arange(count, dtype=np.int32)
    return LineEncoder(profile).encode(number, ticks, force, displacement)


INT32 = st.integers(-(2**31), 2**31 - 1)
ROW = st.tuples(INT32, INT32, st.integers(0, 1), st.integers(0, 1))
TIMED = a_profile(
    'separator = "tab"\ndecimal = ","\ncolumns = 4\n[time]\ncolumn = 4\nunit = "s"', 'unit = "lbf"', 'unit = "in"'
)


def edges_of(source: int, state: list[int], ticks: list[int]) -> list[tuple[int, int, int]]:
    steps = zip(ticks[1:], state, state[1:], strict=False)
    return [(tick, source, after) for tick, before, after in steps if before != after]


@pytest.mark.parametrize("profile", [*map(load_profile, built_in_profiles()), PLAIN, TIMED], ids=lambda p: p.name)
@pytest.mark.parametrize("cut", [whole, byte_by_byte, in_random_pieces])
@given(
    rows=st.lists(ROW, min_size=1, max_size=12), first=st.integers(0, 65535), line_end=st.sampled_from([b"\n", b"\r\n"])
)
def test_what_is_encoded_is_decoded(
    profile: Profile,
    cut: Callable[[bytes], list[bytes]],
    rows: list[tuple[int, int, int, int]],
    first: int,
    line_end: bytes,
) -> None:
    force, displacement, foot, contact = (list(column) for column in zip(*rows, strict=True))
    number = first + np.arange(len(rows), dtype=np.int64)
    ticks = 1000 * number if profile.time else np.rint(number * (profile.period_us or 0.0)).astype(np.int64)
    switches = Switches(np.array(foot, np.uint8), np.array(contact, np.uint8))
    lines = LineEncoder(profile, line_end=line_end).encode(
        number, ticks, np.array(force, np.int32), np.array(displacement, np.int32), switches
    )
    got = heard(profile, *cut(lines))

    assert (got.force, got.displacement, got.damage, got.lost) == (force, displacement, [], 0)
    since_first = [one - got.number[0] for one in got.number]
    assert since_first == list(range(len(rows)))
    if profile.counter is not None:
        assert got.number == number.tolist()
        edges = edges_of(Source.FOOT_SWITCH, foot, ticks.tolist()) + edges_of(Source.CONTACT, contact, ticks.tolist())
        assert sorted(got.edges) == sorted(edges)
    if profile.time is not None or profile.counter is not None:
        assert got.tick_us == ticks.tolist()


def test_a_step_of_the_counter_is_lines_lost_and_time_goes_on_rightly() -> None:
    got = heard(COUNTER, counted(0, 1, 5, 6))

    assert (got.number, got.lost, got.damage) == ([0, 1, 5, 6], 3, [])
    assert got.tick_us == [0, 1000, 5000, 6000]


def test_the_counter_may_wrap() -> None:
    got = heard(COUNTER, counted(65534, 65535, 0, 3))

    assert (got.number, got.lost) == ([65534, 65535, 65536, 65539], 2)


def test_a_bent_counter_is_damage_and_not_a_thousand_lost_lines() -> None:
    got = heard(COUNTER, counted(10, 11, 1912, 13, 14))

    assert (got.number, got.lost) == ([10, 11, 13, 14], 1)
    assert got.damage == ["counter 13 cannot come after 1912"]


def test_a_bent_counter_at_the_start_is_found_too() -> None:
    got = heard(COUNTER, counted(1912, 13, 14))

    assert (got.number, got.lost, len(got.damage)) == ([13, 14], 0, 1)


def test_a_line_that_comes_twice_is_kept_once() -> None:
    got = heard(COUNTER, counted(1, 2, 2, 3))

    assert (got.number, got.lost, len(got.damage)) == ([1, 2, 3], 0, 1)


@pytest.mark.parametrize("cut", [whole, byte_by_byte])
def test_a_rig_started_anew_is_told_and_the_recording_goes_on(cut: Callable[[bytes], list[bytes]]) -> None:
    got = heard(COUNTER, *cut(counted(*range(5000, 5010)) + counted(*range(20))))

    assert len(got.damage) == 4
    assert got.lost == 4  # the four that were held to be damage; how many more, nobody knows
    assert got.number == [*range(5000, 5010), *range(5014, 5030)]
    assert got.tick_us == [1000 * number for number in got.number]


def test_a_rig_started_anew_without_a_counter_goes_on_in_time_too() -> None:
    got = heard(CSV, stamped(*range(9_000_000, 9_003_000, 1000)) + stamped(*range(500, 8000, 1000)))

    assert (len(got.damage), got.lost) == (4, 4)
    assert got.number == [0, 1, 2, 7, 8, 9, 10]
    assert got.tick_us == [9_000_000 + 1000 * number for number in got.number]


def test_a_step_of_the_time_stamp_is_lines_lost() -> None:
    got = heard(CSV, stamped(0, 1001, 2000, 5000, 6499, 8001))  # the last: 1.502 periods

    assert (got.number, got.lost) == ([0, 1, 2, 5, 6, 8], 3)


def test_a_time_stamp_that_goes_back_is_damage() -> None:
    got = heard(CSV, stamped(1000, 2000, 1500, 3000))

    assert got.tick_us == [1000, 2000, 3000]
    assert got.damage == ["time 1500 cannot come after 2000"]


def test_a_time_stamp_may_wrap() -> None:
    got = heard(CSV, stamped(2**32 - 500, 500, 1500))

    assert got.tick_us == [2**32 - 500, 2**32 + 500, 2**32 + 1500]
    assert (got.number, got.damage, got.lost) == ([0, 1, 2], [], 0)


def test_without_counter_and_time_a_damaged_line_stands_for_one_sample() -> None:
    got = heard(PLAIN, b"1,1\n2,x\n3,3\n")

    assert (got.number, got.tick_us, got.lost) == ([0, 2], [0, 2000], 1)


def test_edges_are_told_at_the_first_line_that_shows_them() -> None:
    """lines_counter prints 0 while the foot switch is pressed."""
    got = heard(COUNTER, counted(0, 1, foot="1") + counted(2, 3, foot="0") + counted(4, foot="1"))

    assert got.edges == [(2000, Source.FOOT_SWITCH, 1), (4000, Source.FOOT_SWITCH, 0)]


def test_how_the_switches_stand_at_first_is_no_edge() -> None:
    assert heard(COUNTER, counted(0, 1, foot="0")).edges == []


def spoiled(lines: list[bytes], random: np.random.Generator) -> list[bytes]:
    """Return lines with faults at random places, each fault known to leave no valid line; the ends stay whole."""
    sent = [lines[0]]
    for line in lines[1:-1]:
        at = int(random.integers(len(line)))
        match random.integers(12):
            case 0:
                continue  # lost
            case 1:
                sent.append(line[:at] + bytes([int(random.integers(128, 256))]) + line[at + 1 :])
            case 2:
                sent.append(line.replace(b";", b"", 1))
            case 3:
                sent.append(line + b";" + line)  # the line end was lost
            case 4:
                sent += [random.integers(128, 256, 40, np.uint8).tobytes(), line]
            case 5:
                sent += [b"# word", b"", line]
            case _:
                sent.append(line)
    return [*sent, lines[-1]]


@pytest.mark.parametrize("seed", range(4))
def test_sent_is_decoded_plus_lost_whatever_happens_to_lines(seed: int) -> None:
    random, count = np.random.default_rng(seed), 6000
    lines = an_encoding(COUNTER, count).split(b"\r\n")[:count]
    stream = np.frombuffer(b"\n".join([*spoiled(lines, random), b""]), np.uint8)
    cuts = np.sort(random.integers(0, len(stream), 900))
    got = heard(COUNTER, *(piece.tobytes() for piece in np.split(stream, cuts)))

    assert len(got.number) + got.lost == count
    assert got.number == sorted(set(got.number))
    assert got.displacement == [2 * number for number in got.number]  # what is kept is what was sent
    assert count / 4 < len(got.damage) < count / 2  # 4 kinds of 12 leave a line that is none


@pytest.mark.parametrize("seed", range(3))
def test_every_bent_counter_is_found_and_costs_its_own_line_only(seed: int) -> None:
    random, count = np.random.default_rng(seed), 3000
    lines = an_encoding(COUNTER, count).split(b"\r\n")[:count]
    bent = list(range(3, count - 3, 7))
    for at in bent:
        wrong = (at + int(random.integers(1, 65536))) % 65536
        lines[at] = b"%d;%b" % (wrong, lines[at].split(b";", 1)[1])
    got = heard(COUNTER, *(b"\n".join([*piece, b""]) for piece in (lines[:1000], lines[1000:1001], lines[1001:])))

    assert got.number == sorted(set(range(count)) - set(bent))
    assert (len(got.damage), got.lost) == (len(bent), len(bent))


def noise(random: np.random.Generator) -> bytes:
    """Return a line of noise or a good line with some bytes changed to any."""
    if random.integers(3) == 0:
        return random.integers(0, 256, int(random.integers(0, 80)), np.uint8).tobytes()
    line = bytearray(an_encoding(COUNTER, 1, int(random.integers(70_000))))
    for _ in range(int(random.integers(4))):
        line[int(random.integers(len(line)))] = int(random.integers(256))
    return bytes(line)


def jumping(row: list[int]) -> list[bytes]:
    """Return the cells of a line; the fifth and sixth column of any profile here are switches."""
    return [b"%d" % (number % 2 if at >= 4 else number) for at, number in enumerate(row)]


@pytest.mark.parametrize("profile", [CSV, SPACES, COUNTER, TIMED], ids=lambda profile: profile.name)
def test_nothing_that_may_come_raises_turns_time_back_or_depends_on_the_pieces(profile: Profile) -> None:
    """20000 lines: noise, bent lines, and lines of numbers that jump as they like."""
    random = np.random.default_rng(5)
    separator = {",": b",", ";": b";", "tab": b"\t", "spaces": b" "}[profile.separator]
    pieces: list[bytes] = []
    for _ in range(2500):
        steps = random.integers(-50, 10 ** int(random.integers(1, 10)), (4, profile.columns))
        lines = [noise(random) for _ in range(4)]
        lines += [separator.join(jumping(row)) for row in np.cumsum(steps, axis=0).tolist()]
        pieces.append(b"\n".join([*lines, b""]))
    got = heard(profile, *pieces)

    assert len(got.number) > 100
    assert len(got.damage) > 100
    assert (np.diff(got.number) > 0).all()
    assert (np.diff(got.tick_us) >= 0).all()
    assert got == heard(profile, *(line + b"\n" for piece in pieces for line in piece.split(b"\n")[:-1]))
