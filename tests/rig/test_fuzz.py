"""A million random and mutated frames through the decoder: no exception, no false sample, bounded memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from rig.protocol.frames import LONGEST_FRAME, DamagedBytes, Frame, FrameDecoder, encode_frame
from rig.protocol.messages import SAMPLE_DTYPE, Ack, Heartbeat, Message, Move, SampleBlock, Status

FRAMES = 1_000_000
BATCH = 2000
MUTATIONS = ("none", "bit", "bits", "cut", "doubled", "noise", "merged", "zeros")


def sent_frames(count: int, random: np.random.Generator) -> list[bytes]:
    """Make frames, most with samples that nobody else would make: their force counts are their number times 31."""
    frames = []
    for sequence in range(count):
        number = int(random.integers(0, 1 << 24))
        samples = np.zeros(int(random.integers(0, 5)), SAMPLE_DTYPE)
        samples["force_counts"] = 31 * (number + np.arange(len(samples)))
        others: tuple[Message, ...] = (Ack(7), Heartbeat(), Move(0, 1, 2, 3, 4), Status(1, 0, 1, 2, 3, 4))
        message = SampleBlock(number, samples) if random.random() < 0.8 else others[sequence % len(others)]
        frames.append(encode_frame(message, sequence & 0xFFFF))
    return frames


def mutated(frame: bytes, kind: str, place: int, noise: bytes) -> bytes:
    match kind:
        case "bit":
            return frame[:place] + bytes([frame[place] ^ (1 << (place % 8))]) + frame[place + 1 :]
        case "bits":
            return bytes(a ^ b for a, b in zip(frame, noise, strict=False))
        case "cut":
            return frame[:place]
        case "doubled":
            return frame + frame
        case "noise":
            return noise
        case "merged":
            return frame.replace(b"\x00", b"\x01")
        case "zeros":
            return b"\x00" * (place % 5)
        case _:
            return frame


def test_a_million_frames_bring_no_exception_and_no_false_sample() -> None:
    random = np.random.default_rng(20)
    frames = sent_frames(BATCH, random)
    decoder, good = FrameDecoder(), 0
    for _ in range(FRAMES // BATCH):
        kinds = random.integers(0, len(MUTATIONS), BATCH).tolist()
        places = random.integers(0, 1 << 16, BATCH).tolist()
        noise = random.integers(0, 256, 90, np.uint8).tobytes()
        stream = b"".join(
            mutated(frame, MUTATIONS[kind], place % len(frame), noise)
            for frame, kind, place in zip(frames, kinds, places, strict=True)
        )
        for item in decoder.feed(stream):
            assert isinstance(item, Frame | DamagedBytes)
            if isinstance(item, Frame) and isinstance(item.message, SampleBlock):
                block = item.message
                good += len(block.samples)
                expected = 31 * (block.first_sample_number + np.arange(len(block.samples)))
                assert (block.samples["force_counts"] == expected).all()
    assert good > FRAMES / 8


def test_endless_noise_without_a_zero_takes_no_memory() -> None:
    random, decoder = np.random.default_rng(3), FrameDecoder()
    noise = random.integers(1, 256, 4096, np.uint8).tobytes()
    tracemalloc.start()
    decoder.feed(noise)
    before, _ = tracemalloc.get_traced_memory()
    for _ in range(5000):  # 20 MB
        decoder.feed(noise)
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert after - before < 3 * LONGEST_FRAME
    (told,) = decoder.feed(b"\x00")
    assert told == DamagedBytes(5001 * 4096, "no zero byte for longer than a frame can be")


@settings(max_examples=200)
@given(st.lists(st.one_of(st.binary(max_size=60), st.just(encode_frame(Ack(3), 9)), st.just(b"\x00")), max_size=12))
def test_any_bytes_in_any_pieces_are_frames_or_damage_and_every_byte_is_accounted_for(pieces: list[bytes]) -> None:
    whole, in_pieces = FrameDecoder(), FrameDecoder()
    together = whole.feed(b"".join(pieces) + b"\x00")
    apart = [item for piece in [*pieces, b"\x00"] for item in in_pieces.feed(piece)]

    assert together == apart
    received = sum(len(piece) for piece in pieces) + 1 - b"".join([*pieces, b"\x00"]).count(0)
    frames = sum(len(encode_frame(item.message, item.sequence)) - 1 for item in apart if isinstance(item, Frame))
    damaged = sum(item.length for item in apart if isinstance(item, DamagedBytes))
    assert frames + damaged == received
