"""Invented reads of the open 26-bit layout, one a line, both parities right.

    python make_reads.py 10000000 > reads.txt
"""

import random
import sys

random.seed(7)
lines = []
for _ in range(int(sys.argv[1])):
    data = random.getrandbits(24)
    even = (data >> 12).bit_count() & 1
    odd = 1 - ((data & 0xFFF).bit_count() & 1)
    lines.append(f"{even}{data:024b}{odd}\n")
    if len(lines) == 100_000:
        sys.stdout.write("".join(lines))
        lines.clear()
sys.stdout.write("".join(lines))
