"""Makes the captures beside this file, with writers the project does not use.

Every one is of the slipway gate at Brindle Quay: three cards, the second of
them presented twice, read as the bits in FRAMES. pyvcd 0.5.1 (`pip install
pyvcd`) writes the VCD files, vcd2fst from Debian's package gtkwave turns one
into FST (which notes the time it was made), Python's csv module writes the
tables. Run it in this folder.
"""

import csv
import random
import subprocess

from vcd import VCDWriter

FRAMES = [
    "10010101000000100110100100",
    "00010101000000100110100111",
    "00010101000000100110100111",
    "11101010111111011001011010",
]
# Microseconds: between leading edges, of a pulse, between reads.
INTERVAL, WIDTH, GAP = 2000, 80, 700_000


def pulses():
    """Start and width in microseconds, and the line, of every pulse."""
    draw = random.Random(26)
    time = 5000
    for frame in FRAMES:
        for bit in frame:
            yield time + draw.randint(-5, 5), WIDTH + draw.randint(-3, 3), int(bit)
            time += INTERVAL
        time += GAP


def changes():
    """Time in microseconds, line and level, in the order of time."""
    edges = []
    for start, width, line in pulses():
        edges += [(start, line, 0), (start + width, line, 1)]
    return sorted(edges)


def vcd(name, inverted=False, signals=("d0", "d1")):
    with open(name, "w") as out:
        with VCDWriter(out, timescale="100 ns", date="", version="") as writer:
            rest = 0 if inverted else 1
            clock = writer.register_var("gate", "tick", "wire", size=1, init=0)
            port = writer.register_var("gate", "port", "wire", size=8, init=0)
            lines = [
                writer.register_var("gate.reader", signal, "wire", size=1, init=rest)
                for signal in signals
            ]
            for count, (time, line, level) in enumerate(changes()):
                writer.change(lines[line], time * 10, level ^ inverted)
                if count % 10 == 0:
                    writer.change(port, time * 10, count % 256)
                    writer.change(clock, time * 10, count // 10 % 2)


def table(name, header, rows, delimiter=","):
    with open(name, "w", newline="") as out:
        writer = csv.writer(out, delimiter=delimiter, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


vcd("slipway.vcd")
vcd("slipway-inverted.vcd", inverted=True)
vcd("slipway-unnamed.vcd", signals=("in_3", "in_7"))
subprocess.run(["vcd2fst", "slipway.vcd", "slipway.fst"], check=True)

table("slipway-pulses.csv", ["time_us", "line", "width"],
      [(start, f"D{line}", width) for start, width, line in pulses()])
table("slipway-changes.csv", ["time_ms", "line", "level"],
      [(f"{time / 1000:.3f}", ["green", "white"][line], level) for time, line, level in changes()])

# The first read only, looked at every 20 microseconds; and the same in volts,
# with decimal commas, as a recorder on a noisy site sees it.
levels = [1, 1]
ahead = changes()
samples = []
for time in range(0, 90_000, 20):
    while ahead and ahead[0][0] <= time:
        _, line, level = ahead.pop(0)
        levels[line] = level
    samples.append((time, *levels))
table("slipway-samples.csv", ["Time [us]", "Data 0", "Data 1"], samples)
noise = random.Random(12)


def volts(level):
    return f"{(0.35, 4.8)[level] + noise.gauss(0, 0.05):.2f}".replace(".", ",")


table("slipway-volts.csv", ["time (s)", "d0", "d1"],
      [(f"{t / 1e6:.5f}".replace(".", ","), volts(a), volts(b)) for t, a, b in samples], ";")
