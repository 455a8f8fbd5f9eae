"""The far end of a cable for `benchmarks.cable`: a program of its own that writes samples to a pseudo-terminal.

Frames are encoded before the first byte is written, so only writing is timed against the reader.
"""

from __future__ import annotations

import argparse
import os
import time

import numpy as np

from rig.protocol.frames import encode_frame
from rig.protocol.messages import SAMPLE_DTYPE, SampleBlock

BLOCK = 50


def frames_with(sample_count: int) -> list[bytes]:
    """Return the frames of a stream of plausible samples, at 1 kHz."""
    number = np.arange(BLOCK)
    samples = np.empty(BLOCK, SAMPLE_DTYPE)
    frames = []
    for block in range(sample_count // BLOCK):
        samples["tick_us"] = (1000 * (block * BLOCK + number)) & 0xFFFFFFFF
        samples["force_counts"] = (7919 * number + block) % 20_000
        samples["displacement_counts"] = block % 6000
        frames.append(encode_frame(SampleBlock(block * BLOCK, samples), block & 0xFFFF))
    return frames


def write_all(descriptor: int, data: bytes) -> None:
    """Write everything, however often the pseudo-terminal is full."""
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view[:65536]) :]


def main() -> None:
    """Encode, say so, wait for a byte, write at the rate asked for (0: as fast as it is taken)."""
    parser = argparse.ArgumentParser()
    parser.add_argument("descriptor", type=int)
    parser.add_argument("samples", type=int)
    parser.add_argument("bytes_per_s", type=float)
    words = parser.parse_args()
    frames = frames_with(words.samples)
    print(sum(map(len, frames)), flush=True)
    input()
    begun, sent = time.perf_counter(), 0
    for start in range(0, len(frames), 16):
        piece = b"".join(frames[start : start + 16])
        write_all(words.descriptor, piece)
        sent += len(piece)
        ahead_s = sent / words.bytes_per_s - (time.perf_counter() - begun) if words.bytes_per_s else 0.0
        if ahead_s > 0:
            time.sleep(ahead_s)
    input()


if __name__ == "__main__":
    main()
