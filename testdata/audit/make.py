"""Makes codes.json: layouts with what an independent library says of their checks.

    pip install galois==<the version the table names>
    python make.py > codes.json

Ranks and null spaces over GF(2) are galois's; weights are counted frame by
frame, and shares by what share of all frames pass, so no formula of the
project is used.
"""

import json
import random

import galois
import numpy as np

GF = galois.GF(2)


def layout(rng, name, bits, rules, fixed):
    """A layout whose parity bits and fixed bits are drawn; parity bits cover
    any bits that are not parity bits themselves."""
    positions = list(range(1, bits + 1))
    rng.shuffle(positions)
    parity_bits = sorted(positions[:rules])
    fixed_bits = sorted(positions[rules : rules + fixed])
    others = [p for p in range(1, bits + 1) if p not in parity_bits]
    return {
        "name": name,
        "bits": bits,
        "field": [
            {"name": "card", "bits": [str(p) for p in others if p not in fixed_bits]}
        ],
        "fixed": [{"bits": [str(p)], "value": rng.choice("01")} for p in fixed_bits],
        "parity": [
            {
                "bit": bit,
                "kind": rng.choice(["even", "odd"]),
                "over": [
                    str(p) for p in others if rng.random() < rng.choice([0.3, 0.5, 0.9])
                ]
                or [str(others[0])],
            }
            for bit in parity_bits
        ],
    }


def checks(doc):
    """The matrix and the right side of the layout's checks."""
    rows, sums = [], []
    for rule in doc["parity"]:
        row = [0] * doc["bits"]
        for p in [rule["bit"], *map(int, rule["over"])]:
            row[p - 1] = 1
        rows.append(row)
        sums.append(1 if rule["kind"] == "odd" else 0)
    for rule in doc["fixed"]:
        row = [0] * doc["bits"]
        row[int(rule["bits"][0]) - 1] = 1
        rows.append(row)
        sums.append(int(rule["value"]))
    return GF(rows), GF(sums)


def described(doc):
    matrix, sums = checks(doc)
    n = doc["bits"]
    rank = int(np.linalg.matrix_rank(matrix))
    space = matrix.null_space()
    k = space.shape[0]
    words = GF([[i >> b & 1 for b in range(k)] for i in range(2**k)]) @ space
    weights = np.bincount(words.view(np.ndarray).astype(int).sum(axis=1), minlength=n + 1)
    # One frame: a solution of the checks, by brute force over their pivots.
    reduced = np.hstack([matrix, sums.reshape(-1, 1)]).row_reduce()
    one = GF.Zeros(n)
    for row in reduced:
        pivots = np.nonzero(row[:n])[0]
        if len(pivots):
            one[pivots[0]] = row[n]
    frames = words + one

    def share(received):
        return float(np.mean(np.all(matrix @ received.T == sums.reshape(-1, 1), axis=0)))

    assert share(frames) == 1.0
    return {
        "layout": doc,
        "rank": rank,
        "undetected": [int(w) for w in weights],
        "inverted": share(frames + GF.Ones(n)),
        "reversed": share(frames[:, ::-1]),
        "shorted": sum(share(GF.Zeros((1, n)) if v == 0 else GF.Ones((1, n))) for v in (0, 1)) / 4,
    }


def main():
    rng = random.Random(1996)
    shapes = [(6, 1, 0), (8, 2, 1), (10, 3, 0), (12, 1, 2), (12, 4, 1), (14, 5, 0)]
    shapes += [(16, 5, 2), (16, 8, 0)]
    docs = [layout(rng, f"drawn-{i}", *shape) for i, shape in enumerate(shapes * 3)]
    table = {
        "made_with": f"galois {galois.__version__}, numpy {np.__version__}",
        "codes": [described(doc) for doc in docs],
    }
    text = json.dumps(table, separators=(",", ":"))
    print(text.replace('{"layout"', '\n{"layout"'))


if __name__ == "__main__":
    main()
