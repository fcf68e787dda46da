#!/usr/bin/env python3
"""Packs the EGM96 grid (NGA, 15 arc minutes, as a .gtx file) for the program.

    python3 pack.py egm96_15.gtx egm96-15.packed

Heights are rounded to whole centimetres. Row by row from the north, each is written as its difference from what the
three neighbours before it foretell (west + north - north-west), folded to an unsigned number (0, -1, 1, -2 ...) in
groups of seven bits, and the whole is deflated (zlib). Only the Python library is needed.
"""
import struct
import sys
import zlib


def main(source, target):
    raw = open(source, "rb").read()
    south, west, dlat, dlon, rows, cols = struct.unpack(">ddddii", raw[:40])
    assert (south, west, dlat, dlon, rows, cols) == (-90.0, -180.0, 0.25, 0.25, 721, 1440), "not the grid expected"
    values = struct.unpack(f">{rows * cols}f", raw[40 : 40 + 4 * rows * cols])
    out = bytearray()
    before = [0] * cols
    for row in reversed(range(rows)):
        now = [round(v * 100) for v in values[row * cols : (row + 1) * cols]]
        for c in range(cols):
            guess = before[0] if c == 0 else now[c - 1] + before[c] - before[c - 1]
            step = now[c] - guess
            folded = 2 * step if step >= 0 else -2 * step - 1
            while folded >= 128:
                out.append(folded & 127 | 128)
                folded >>= 7
            out.append(folded)
        before = now
    packed = zlib.compress(bytes(out), 9)
    open(target, "wb").write(packed)
    print(f"{rows} x {cols} heights in {len(packed)} bytes")


main(*sys.argv[1:])
