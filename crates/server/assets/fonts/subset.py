#!/usr/bin/env python3
"""Makes the fonts of the pages from the fonts of the papers: WOFF2, in two parts a weight.

The first part of a weight holds what a page in a European language with figures and units is made of; the second holds every
other character of the font, and a browser fetches it only when a page prints one. No character that the papers can print is missing.

Run it in this folder, with Python and the packages fonttools 4.68.0 and brotli 1.2.0:

    python3 subset.py

It writes the four .woff2 files and prints the ranges that ../bench.css names.
"""

from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

HERE = Path(__file__).resolve().parent
WHOLE = HERE / "../../../documents/fonts"
FIRST = [
    (0x20, 0x7E),  # ASCII
    (0xA0, 0xFF),  # ä é ß ø, and ° ± ² ³ µ · × ¼ ½ ¾
    (0x152, 0x153),  # œ
    (0x160, 0x161),  # š
    (0x178, 0x178),  # Ÿ
    (0x394, 0x394),  # Δ
    (0x3A9, 0x3A9),  # Ω
    (0x3BC, 0x3BC),  # μ
    (0x2010, 0x2026),  # dashes, quotation marks, …
    (0x2030, 0x203A),  # ‰ ′ ″ ‹ ›
    (0x2070, 0x208E),  # raised and lowered figures
    (0x20AC, 0x20AC),  # €
    (0x2122, 0x2122),
    (0x2190, 0x2194),  # arrows
    (0x2206, 0x2206),
    (0x2212, 0x221E),  # − √ ∞
    (0x2248, 0x2265),  # ≈ ≠ ≤ ≥
    (0x2713, 0x2713),  # ✓
]


def ranges(points):
    """The points as CSS writes them."""
    out = []
    for point in sorted(points):
        if out and out[-1][1] == point - 1:
            out[-1][1] = point
        else:
            out.append([point, point])
    return ", ".join(f"U+{a:X}" if a == b else f"U+{a:X}-{b:X}" for a, b in out)


def main():
    first = {point for start, end in FIRST for point in range(start, end + 1)}
    options = subset.Options()
    options.layout_features = ["*"]
    options.name_IDs = ["*"]
    options.notdef_outline = True
    for weight in ("Regular", "Bold"):
        # Not U+0 and not the font's own signs, which no page writes.
        there = {p for p in TTFont(WHOLE / f"B612-{weight}.otf").getBestCmap() if p and not 0xE000 <= p <= 0xF8FF}
        for part, points in (("", there & first), ("-signs", there - first)):
            # The time of the change stays that of the font, so that the same font gives the same bytes.
            font = TTFont(WHOLE / f"B612-{weight}.otf", recalcTimestamp=False)
            subsetter = subset.Subsetter(options)
            subsetter.populate(unicodes=points)
            subsetter.subset(font)
            font.flavor = "woff2"
            file = HERE / f"{weight.lower()}{part}.woff2"
            font.save(file)
            print(file.name, file.stat().st_size, "bytes,", len(points), "characters:", ranges(points))


if __name__ == "__main__":
    main()
