#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""A FITS file as the short text that fits_sketch.hpp reads: sketch_fits.py FILE > SKETCH."""
import sys

BLOCK, CARD = 2880, 80


def data_bytes(cards):
    value = {}
    for card in cards:
        key, _, rest = card.partition("=")
        text = rest.split("/")[0].strip()
        if text.lstrip("-").isdigit():
            value.setdefault(key.strip(), int(text))
    n = 1 if value.get("NAXIS", 0) else 0
    for axis in range(1, value.get("NAXIS", 0) + 1):
        n *= value[f"NAXIS{axis}"]
    return abs(value["BITPIX"]) // 8 * (n + value.get("PCOUNT", 0)) * value.get("GCOUNT", 1)


def main():
    whole, at = open(sys.argv[1], "rb").read(), 0
    out = [b"#fits\n"]
    while at < len(whole):
        cards = []
        while not cards or cards[-1] != "END":
            cards.append(whole[at:at + CARD].decode("latin-1").rstrip())
            at += CARD
        at += -at % BLOCK
        n = data_bytes(cards)
        out += [card.encode("latin-1") + b"\n" for card in cards if card]
        if n:
            out.append(b"#data %d\n" % n + whole[at:at + n] + b"\n")
        at += n + -n % BLOCK
    sys.stdout.buffer.write(b"".join(out))


main()
