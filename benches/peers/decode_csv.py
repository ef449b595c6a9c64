"""The work of `misread decode --csv --layout open-26`, with numpy.

Every line must be 26 characters 0 and 1; reads are taken a block at a time and
nothing is done a line at a time: digits are written into fixed places and the
places left empty are squeezed out.

    python decode_csv.py reads.txt > table.csv
"""

import sys

import numpy as np

LINE = 27  # 26 bits and the line end
BLOCK = 1 << 16  # lines


def digits(values, width):
    """Decimal digits, leading zeros as 0 bytes, the last digit always there."""
    out = np.empty((values.size, width), np.uint8)
    rest = values
    for place in reversed(range(width)):
        quotient = rest // 10
        digit = (rest - quotient * 10).astype(np.uint8) + 48
        if place < width - 1:
            digit[rest == 0] = 0
        out[:, place] = digit
        rest = quotient
    return out


def block(lines, first):
    text = lines[:, :26]
    bits = text - 48
    if (bits > 1).any() or (lines[:, 26] != 10).any():
        sys.exit("a line is not 26 bits")
    packed = np.packbits(bits[:, 1:25], axis=1)
    facility = packed[:, 0].astype(np.uint32)
    card = packed[:, 1].astype(np.uint32) << 8 | packed[:, 2]
    even = np.bitwise_xor.reduce(bits[:, :13], axis=1) == 0
    odd = np.bitwise_xor.reduce(bits[:, 13:], axis=1) == 1
    ok = even & odd
    n = lines.shape[0]
    number = digits(np.arange(first, first + n, dtype=np.uint32), 9)
    out = np.zeros((n, 9 + 1 + 26 + 12 + 5 + 1 + 3 + 1 + 5 + 1), np.uint8)
    out[:, :9] = number
    out[:, 9] = ord(",")
    out[:, 10:36] = text
    out[:, 36:48] = np.frombuffer(b",26,open-26,", np.uint8)
    out[:, 48:53] = np.where(
        ok[:, None],
        np.frombuffer(b"true\0", np.uint8),
        np.frombuffer(b"false", np.uint8),
    )
    out[:, 53] = ord(",")
    out[:, 54:57] = digits(facility, 3) * ok[:, None]
    out[:, 57] = ord(",")
    out[:, 58:63] = digits(card, 5) * ok[:, None]
    out[:, 63] = 10
    flat = out.ravel()
    sys.stdout.buffer.write(flat[flat != 0].tobytes())


def main():
    lines = np.fromfile(sys.argv[1], np.uint8).reshape(-1, LINE)
    sys.stdout.buffer.write(b"line,bits,length,layout,ok,facility,card\n")
    for first in range(0, lines.shape[0], BLOCK):
        block(lines[first : first + BLOCK], first + 1)


main()
