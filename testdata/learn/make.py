#!/usr/bin/env python3
"""Random frames, and by galois, a general-purpose library: the rank of their
differences from the first and every set of bits whose parity is the same in
all of them (a basis, as the null space of those differences over GF(2)).

Writes null_spaces.json beside itself, in the same bytes each time.

    python3 -m venv /tmp/learn && /tmp/learn/bin/pip install galois==0.4.11
    /tmp/learn/bin/python testdata/learn/make.py
"""

import json
import pathlib
import random
from importlib.metadata import version

import galois
import numpy

HERE = pathlib.Path(__file__).resolve().parent
GF2 = galois.GF(2)


def text(row):
    return "".join(str(int(bit)) for bit in row)


def case(rng):
    bits = rng.choice([4, 9, 17, 26, 26, 37, 37, 64, 65, 70, 130])
    count = rng.randint(2, min(40, bits + 6))
    free = rng.randint(1, bits)
    frames = []
    for _ in range(count):
        frame = [rng.randint(0, 1) for _ in range(free)]
        while len(frame) < bits:
            # The rest follows from two bits before it, as parity bits do.
            frame.append(frame[len(frame) // 2] ^ frame[len(frame) // 3])
        frames.append(frame)
    differences = GF2([[a ^ b for a, b in zip(frame, frames[0])] for frame in frames])
    rank = int(numpy.linalg.matrix_rank(differences))
    return {
        "frames": [text(frame) for frame in frames],
        "rank": rank,
        "null_space": [text(row) for row in differences.null_space()],
    }


rng = random.Random(7)
made = {"made_by": f"galois {version('galois')}", "cases": [case(rng) for _ in range(24)]}
(HERE / "null_spaces.json").write_text(json.dumps(made, indent=1) + "\n")
