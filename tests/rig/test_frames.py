"""Bytes <-> messages: published vectors, every way of arriving, every kind of damage."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from rig.protocol.frames import LONGEST_FRAME, DamagedBytes, Frame, FrameDecoder, decode_frame, encode_frame
from rig.protocol.messages import (
    EVENT_DTYPE,
    SAMPLE_DTYPE,
    Ack,
    Ask,
    Channel,
    Cue,
    EventBlock,
    Greet,
    Heartbeat,
    Hello,
    Home,
    Message,
    Move,
    Nak,
    SampleBlock,
    StartStream,
    Status,
    Stop,
    StopStream,
    StreamEnd,
    Swing,
)
from rig.protocol.table import MESSAGE_TABLE, MalformedPayload, pack, unpack

LINK_TRUTHS = Path(__file__).parents[1] / "truths" / "link"

EXAMPLES: tuple[Message, ...] = (
    Greet(2),
    StartStream(),
    StopStream(),
    Move(0, -5, 4000, 200_000, 4000),
    Stop(),
    Heartbeat(),
    Home(),
    Swing(1000, 9000, 10, 50_000, 5_000_000, 6000),
    Ask(1),
    Cue(40, 1, 3, 2),
    Hello(2, "a rig", "0001", "1.0", 1_000_000, 2, 2, 20_000, 250_000, 10_000_000, 3, 7, 9),
    Channel(0, "force", "N", 20_000.5, -3, 2000, -20.0, 20.0),
    SampleBlock(7, np.array([(1, 2, -3), (4, 5, -6)], SAMPLE_DTYPE)),
    EventBlock(9, np.array([(1, 0, 0x90)], EVENT_DTYPE)),
    Status(123, 0, 1, 2, -500, 17),
    Ack(65535),
    Nak(0, 3),
    StreamEnd(1000, 20),
)


def whole(data: bytes) -> list[bytes]:
    return [data]


def byte_by_byte(data: bytes) -> list[bytes]:
    return [data[i : i + 1] for i in range(len(data))]


def in_random_pieces(data: bytes) -> list[bytes]:
    cuts = sorted(np.random.default_rng(3).integers(0, len(data) + 1, 7).tolist())
    return [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)], strict=True)]


def decoded(pieces: Iterable[bytes]) -> list[Frame | DamagedBytes]:
    decoder = FrameDecoder()
    return [item for piece in pieces for item in decoder.feed(piece)]


@pytest.mark.parametrize(
    ("plain", "encoded"), json.loads((LINK_TRUTHS / "cobs_vectors.json").read_text())["encode_hex"]
)
def test_cobs_encodes_as_published(plain: str, encoded: str) -> None:
    assert cobs.encode(bytes.fromhex(plain)).hex() == encoded
    assert cobs.decode(bytes.fromhex(encoded)).hex() == plain


@pytest.mark.parametrize("encoded", json.loads((LINK_TRUTHS / "cobs_vectors.json").read_text())["decode_errors_hex"])
def test_what_is_no_cobs_comes_out_as_damage(encoded: str) -> None:
    assert isinstance(decode_frame(bytes.fromhex(encoded)), DamagedBytes)


def test_the_crc_is_the_published_one() -> None:
    told = json.loads((LINK_TRUTHS / "crc_check.json").read_text())

    assert f"{zlib.crc32(told['input'].encode()):08x}" == told["CRC-32/ISO-HDLC"]


def test_a_frame_ends_in_the_published_crc_of_its_body() -> None:
    body = cobs.decode(encode_frame(Ack(0x3231), 0x3433)[:-1])

    assert body[:-4] == b"\x86\x33\x34\x31\x32"
    assert body[-4:] == zlib.crc32(body[:-4]).to_bytes(4, "little")


def test_every_kind_of_message_has_an_example_here() -> None:
    assert [type(example) for example in EXAMPLES] == [row.message for row in MESSAGE_TABLE]


@pytest.mark.parametrize("cut", [whole, byte_by_byte, in_random_pieces])
@pytest.mark.parametrize("message", EXAMPLES, ids=lambda message: type(message).__name__)
def test_a_message_comes_back_however_it_arrives(message: Message, cut: Callable[[bytes], list[bytes]]) -> None:
    assert decoded(cut(encode_frame(message, 42))) == [Frame(42, message)]


FRAME = encode_frame(Ack(1), 5)
ACK = Frame(5, Ack(1))


@pytest.mark.parametrize("cut", [whole, byte_by_byte, in_random_pieces])
@pytest.mark.parametrize(
    ("received", "expected"),
    [
        pytest.param(b"\x00\x00" + FRAME, [ACK], id="zeros before a frame are no news"),
        pytest.param(b"\x09no frame\x00" + FRAME, [DamagedBytes(9, "CRC-32 does not match"), ACK], id="noise before"),
        pytest.param(FRAME + FRAME[:4], [ACK], id="half a frame: wait, do not complain"),
        pytest.param(FRAME[:3] + b"\x00" + FRAME, None, id="a truncated frame"),
        pytest.param(b"\x03ab\x00" + FRAME, [DamagedBytes(3, "too short for a frame"), ACK], id="too short"),
    ],
)
def test_damage_is_told_and_the_next_frame_is_whole(
    received: bytes, expected: list[Frame | DamagedBytes] | None, cut: Callable[[bytes], list[bytes]]
) -> None:
    items = decoded(cut(received))

    assert items[-1] == ACK
    if expected is None:
        assert isinstance(items[0], DamagedBytes)
    else:
        assert items == expected


def test_every_single_flipped_bit_is_noticed() -> None:
    frame = encode_frame(EXAMPLES[8], 1)
    for place in range(8 * (len(frame) - 1)):
        bent = bytearray(frame)
        bent[place // 8] ^= 1 << place % 8
        assert not any(isinstance(item, Frame) for item in decoded([bytes(bent) + b"\x00"]))


@given(st.binary(max_size=2000))
def test_nothing_that_arrives_raises_and_memory_stays_bounded(noise: bytes) -> None:
    decoder = FrameDecoder()
    items = decoder.feed(noise) + decoder.feed(b"\x00" + FRAME)

    assert items[-1] == ACK


def test_babble_without_a_zero_is_thrown_away_and_counted() -> None:
    decoder = FrameDecoder()
    for _ in range(10):
        assert decoder.feed(b"x" * LONGEST_FRAME) == []
    damage, frame = decoder.feed(b"\x00" + FRAME)

    assert isinstance(damage, DamagedBytes)
    assert damage.length == 10 * LONGEST_FRAME
    assert frame == ACK


@pytest.mark.parametrize("message", EXAMPLES, ids=lambda message: type(message).__name__)
def test_a_payload_of_the_wrong_length_is_refused(message: Message) -> None:
    kind, payload = pack(message)

    with pytest.raises(MalformedPayload):
        unpack(kind, payload + b"\x00")


def test_an_unknown_kind_is_refused_by_its_number() -> None:
    with pytest.raises(MalformedPayload, match="0x7f"):
        unpack(0x7F, b"")


@given(st.text(max_size=40))
def test_text_longer_than_its_field_is_cut_and_never_raises_on_the_way_back(text: str) -> None:
    kind, payload = pack(Hello(1, text, "", "", 0, 0, 0, 0, 0, 0, 0, 0, 0))
    try:
        message = unpack(kind, payload)
    except MalformedPayload:
        return  # cut in the middle of a character: told as damage
    assert isinstance(message, Hello)
    assert text.rstrip("\x00").encode()[:16].startswith(message.model.encode())
