#!/usr/bin/env python3
"""Random layouts and reads, decoded by two general-purpose libraries.

Writes bitstring.json and bitstruct.json beside itself, in the same bytes each
time. Every layout is dealt out at random; the frames are made and taken apart
by the library named in the file, which knows nothing of card readers.

    python3 -m venv /tmp/tables && /tmp/tables/bin/pip install \
        bitstring==5.0.0 bitstruct==8.24.0
    /tmp/tables/bin/python testdata/tables/make.py

bitstring makes layouts whose fields are any bits in any order, most or least
significant first, binary or decimal digits. bitstruct cuts frames into
neighbouring fields, so its layouts are runs of bits.

In a case, "read" is the bits, "fields" the numbers in the layout's order, and
"wrong" the parity rules (counted from 0) and "fixed" the fixed positions
(counted from 1) that do not hold; both empty where the read is a frame.
"""

import json
import pathlib
import random
from importlib.metadata import version

import bitstring
import bitstruct

HERE = pathlib.Path(__file__).resolve().parent
NAMES = ["facility", "card", "issue", "site"]
READS = 6


def even_bit(ones, kind):
    """The parity bit that makes `ones` and itself even or odd."""
    return ones % 2 if kind == "even" else 1 - ones % 2


# --- bitstring: fields of scattered bits ---------------------------------


def scattered_layout(rng):
    bits = rng.randint(4, 256)
    dealt = list(range(1, bits + 1))
    rng.shuffle(dealt)
    rest = list(dealt)

    def deal(count):
        taken, rest[:] = rest[:count], rest[count:]
        return taken

    fields = []
    for name in NAMES[: rng.randint(1, 4)]:
        width = rng.randint(1, min(64, len(rest)))
        code = "binary"
        if width >= 4 and rng.random() < 0.3:
            width, code = width // 4 * 4, "bcd"
        order = rng.choice(["msb-first", "lsb-first"])
        fields.append({"name": name, "bits": deal(width), "order": order, "code": code})
        if not rest:
            break
    fixed = []
    for _ in range(rng.randint(0, 2)):
        listed = deal(rng.randint(1, 5))
        if listed:
            value = "".join(rng.choice("01") for _ in listed)
            fixed.append({"bits": listed, "value": value})
    parity = []
    later = deal(rng.randint(0, 6))
    while later:
        # A rule may cover any bit but its own and the parity bits that are
        # worked out after it.
        bit = later.pop()
        may = [p for p in dealt if p != bit and p not in later]
        over = sorted(p for p in may if rng.random() < 0.5) or may[:1]
        if over:
            parity.append({"bit": bit, "kind": rng.choice(["even", "odd"]), "over": over})
    return {"bits": bits, "fields": fields, "fixed": fixed, "parity": parity}


def pick(frame, positions):
    """The bits at these positions, in this order, as a bitstring of their own."""
    return bitstring.BitArray("").join(frame[p - 1 : p] for p in positions)


def significant_first(field):
    """The listed positions with the most significant bit of the number first."""
    listed = field["bits"]
    if field["order"] == "msb-first":
        return listed
    if field["code"] == "binary":
        return listed[::-1]
    groups = [listed[i : i + 4] for i in range(0, len(listed), 4)]
    return [p for group in groups for p in group[::-1]]


def scattered_frame(layout, rng):
    frame = bitstring.BitArray.from_zeros(layout["bits"])
    for field in layout["fields"]:
        width = len(field["bits"])
        if field["code"] == "bcd":
            digits = "".join(rng.choice("0123456789") for _ in range(width // 4))
            number = bitstring.BitArray(hex=digits)
        else:
            number = bitstring.BitArray(uint=rng.getrandbits(width), length=width)
        for position, bit in zip(significant_first(field), number):
            frame.set(bit, position - 1)
    for rule in layout["fixed"]:
        for position, bit in zip(rule["bits"], rule["value"]):
            frame.set(bit == "1", position - 1)
    for rule in layout["parity"]:
        ones = pick(frame, rule["over"]).count(1)
        frame.set(even_bit(ones, rule["kind"]), rule["bit"] - 1)
    return frame


def scattered_answer(layout, frame):
    fields = []
    for field in layout["fields"]:
        number = pick(frame, significant_first(field))
        if field["code"] == "bcd":
            value = 0
            for digit in number.cut(4):
                value = 10 * value + digit.uint
            fields.append(value)
        else:
            fields.append(number.uint)
    wrong = []
    for i, rule in enumerate(layout["parity"]):
        ones = pick(frame, rule["over"] + [rule["bit"]]).count(1)
        if ones % 2 != (rule["kind"] == "odd"):
            wrong.append(i)
    fixed = [
        position
        for rule in layout["fixed"]
        for position, bit in zip(rule["bits"], rule["value"])
        if frame[position - 1] != (bit == "1")
    ]
    return {"read": frame.bin, "fields": fields, "wrong": wrong, "fixed": sorted(fixed)}


def scattered_table(rng, count):
    layouts = []
    for _ in range(count):
        layout = scattered_layout(rng)
        reads = []
        for n in range(READS):
            frame = scattered_frame(layout, rng)
            # Sound, a bit or two wrong, and anything at all.
            for _ in range(n // 2 % 3):
                frame.invert(rng.randrange(layout["bits"]))
            if n == READS - 1:
                frame = bitstring.BitArray(
                    uint=rng.getrandbits(layout["bits"]), length=layout["bits"]
                )
            reads.append(scattered_answer(layout, frame))
        layouts.append({**layout, "reads": reads})
    return layouts


# --- bitstruct: fields of neighbouring bits ------------------------------


def run_layout(rng):
    """A list of parts in frame order, and the layout they make."""
    names = list(NAMES)
    parts = [("parity", 1)]
    for _ in range(rng.randint(1, 4)):
        if rng.random() < 0.2:
            parts.append(("fixed", rng.randint(1, 4)))
        parts.append((names.pop(0), rng.randint(1, 48)))
    parts.append(("parity", 1))
    first, placed = 1, []
    for what, width in parts:
        placed.append((what, list(range(first, first + width))))
        first += width
    bits = first - 1
    middle = list(range(2, bits))
    cut = rng.randint(1, len(middle))
    kinds = rng.sample(["even", "odd"], 2)
    order = [rng.choice(["msb-first", "lsb-first"]) for _ in parts]
    return parts, order, {
        "bits": bits,
        "fields": [
            {"name": what, "bits": positions, "order": order[i], "code": "binary"}
            for i, (what, positions) in enumerate(placed)
            if what in NAMES
        ],
        "fixed": [
            {"bits": positions, "value": "10" * 2 if len(positions) == 4 else "1" * len(positions)}
            for what, positions in placed
            if what == "fixed"
        ],
        "parity": [
            {"bit": 1, "kind": kinds[0], "over": middle[:cut]},
            {"bit": bits, "kind": kinds[1], "over": middle[len(middle) - cut :]},
        ],
    }


def run_table(rng, count):
    layouts = []
    for _ in range(count):
        parts, order, layout = run_layout(rng)
        rules = iter(layout["fixed"])
        fixed = {
            i: int(next(rules)["value"], 2)
            for i, (what, _) in enumerate(parts)
            if what == "fixed"
        }
        # bitstruct's own words: u is an unsigned number, < takes its bits the
        # other way round. Fixed bits are listed most significant first.
        cut = "".join(
            ("<" if end == "lsb-first" and i not in fixed else ">") + f"u{width}"
            for i, ((_, width), end) in enumerate(zip(parts, order))
        )
        bits = layout["bits"]

        def text(values):
            return "".join(f"{byte:08b}" for byte in bitstruct.pack(cut, *values))[:bits]

        reads = []
        for n in range(READS):
            values = [fixed.get(i, rng.getrandbits(width)) for i, (_, width) in enumerate(parts)]
            if n == READS - 1 and fixed:
                broken = rng.choice(list(fixed))
                values[broken] = rng.getrandbits(parts[broken][1])
            for slot, rule in ((0, layout["parity"][0]), (-1, layout["parity"][1])):
                frame = text(values)
                ones = sum(frame[p - 1] == "1" for p in rule["over"])
                values[slot] = even_bit(ones, rule["kind"])
                if n // 2 == 1 and rng.random() < 0.6:
                    values[slot] ^= 1
            frame = text(values)
            packed = bytes(int(frame[i : i + 8].ljust(8, "0"), 2) for i in range(0, bits, 8))
            taken = bitstruct.unpack(cut, packed)
            wrong = [
                i
                for i, rule in enumerate(layout["parity"])
                if sum(frame[p - 1] == "1" for p in rule["over"] + [rule["bit"]]) % 2
                != (rule["kind"] == "odd")
            ]
            off = [
                position
                for rule in layout["fixed"]
                for position, bit in zip(rule["bits"], rule["value"])
                if frame[position - 1] != bit
            ]
            fields = [value for value, (what, _) in zip(taken, parts) if what in NAMES]
            reads.append({"read": frame, "fields": fields, "wrong": wrong, "fixed": off})
        layouts.append({**layout, "reads": reads})
    return layouts


# --- writing -------------------------------------------------------------


def spans(positions):
    """Positions as the layouts write them, runs of three or more as a range."""
    out, i = [], 0
    while i < len(positions):
        j = i
        while j + 1 < len(positions) and positions[j + 1] == positions[j] + 1:
            j += 1
        if j - i >= 2:
            out.append(f"{positions[i]}-{positions[j]}")
        else:
            out.extend(str(p) for p in positions[i : j + 1])
        i = j + 1
    return out


def write(name, layouts):
    for layout in layouts:
        for rule in layout["fields"] + layout["fixed"]:
            rule["bits"] = spans(rule["bits"])
        for rule in layout["parity"]:
            rule["over"] = spans(rule["over"])
        for read in layout["reads"]:
            # Numbers over 2^53 do not survive every JSON reader.
            read["fields"] = [str(value) for value in read["fields"]]
    rows = ",\n".join(json.dumps(layout) for layout in layouts)
    made_with = f"{name} {version(name)}"
    text = f'{{"made_with": {json.dumps(made_with)}, "layouts": [\n{rows}\n]}}\n'
    (HERE / f"{name}.json").write_text(text, encoding="utf-8")


write("bitstring", scattered_table(random.Random(26), 120))
write("bitstruct", run_table(random.Random(34), 80))
