"""A thick manual of an invented air handler, to measure the shelf with: text, tables, wiring, drawings.

Everything in it is made up: machine, maker, part numbers, wires. The same arguments give the same pages; it
is typeset by typst (extra ``report``). The PDF is not kept in the repository:

    python scripts/make_manual.py manual.pdf --pages 500
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Iterator
from pathlib import Path

__all__ = ["PER_CHAPTER", "main", "manual_pdf", "source"]

PER_CHAPTER = 6  # pages: three of text, parts, wiring, drawing
PARTS_ROWS, WIRE_ROWS = 34, 34
DEVICES = [
    "reheat valve",
    "supply fan drive",
    "loop pump",
    "dew-point sensor",
    "return damper",
    "compressor",
    "flow switch",
    "condensate pan",
    "strainer",
    "expansion valve",
    "recovery coil",
    "filter bank",
]
ACTS = ["inspect", "tighten", "isolate", "clean", "measure", "replace", "lubricate", "label", "flush", "seal"]
THINGS = [
    "terminal strip",
    "actuator",
    "gasket",
    "bearing",
    "relay",
    "fuse holder",
    "conduit",
    "contactor",
    "transformer",
    "thermistor",
    "gauge glass",
    "balancing valve",
    "drain trap",
    "belt guard",
]
ENDS = [
    "before the season starts",
    "after every filter change",
    "when the panel is open",
    "with the drive locked out",
    "at the temperature of the room",
    "as the wiring table shows",
    "and write the value down",
]
COLOURS = ("red", "blue", "black", "white", "brown", "grey", "violet", "orange")

HEAD = """#set document(title: "Service manual, invented air handler", author: "made by a script", date: none)
#set page(width: 210mm, height: 297mm, margin: 18mm,
  header: [Service manual, air handler AHX-900 (invented)], numbering: "1")
#set text(size: 9pt, hyphenate: false)
#set par(justify: false)
#set heading(numbering: "1.1")
"""


def source(pages: int) -> str:
    """The manual in typst's language, of so many pages (whole chapters)."""
    chapters = max(1, -(-pages // PER_CHAPTER))
    return HEAD + "\n#pagebreak()\n".join(
        part for number in range(1, chapters + 1) for part in _chapter(number)
    )


def _chapter(number: int) -> Iterator[str]:
    chance = random.Random(number)
    device = DEVICES[number % len(DEVICES)]
    for section in range(1, 4):
        title = f"= Chapter {number}: the {device}\n" if section == 1 else ""
        yield title + f"== Work on the {device}, part {section}\n" + _paragraphs(chance, device)
    yield f"== Parts of the {device}\n" + _parts(chance, number)
    yield f"== Wiring of the {device}\n" + _wires(number)
    yield f"== Drawing of the {device}\n" + _drawing(number)


def _paragraphs(chance: random.Random, device: str) -> str:
    def sentence() -> str:
        act, thing, end = chance.choice(ACTS), chance.choice(THINGS), chance.choice(ENDS)
        torque = chance.randint(2, 60)
        return f"{act.capitalize()} the {thing} of the {device} {end}; torque {torque} N m."

    return "\n\n".join(" ".join(sentence() for _ in range(6)) for _ in range(7))


def _parts(chance: random.Random, number: int) -> str:
    rows = "\n".join(
        f"[{row}], [AH-{number:03d}-{row:03d}], [{chance.choice(THINGS)}], [{chance.randint(1, 8)}],"
        for row in range(1, PARTS_ROWS + 1)
    )
    return f"#table(columns: 4, [*Item*], [*Part number*], [*Name*], [*Count*],\n{rows}\n)"


def wire(number: int, row: int) -> int:
    """The number of a wire: counted on through the chapters."""
    return (number - 1) * WIRE_ROWS + row


def _wires(number: int) -> str:
    rows = "\n".join(
        f"[W{wire(number, row)}], [TB{number}-{row}], [X{number}:{row}], [{COLOURS[row % len(COLOURS)]}], "
        f"[{0.75 if row % 3 else 1.5} mm2],"
        for row in range(1, WIRE_ROWS + 1)
    )
    return f"#table(columns: 5, [*Wire*], [*From*], [*To*], [*Colour*], [*Section*],\n{rows}\n)"


def _drawing(number: int) -> str:
    """Boxes with labels and lines between them, one of them turned on its side."""
    parts = []
    for row in range(6):
        y = 20 + 34 * row
        one, other = wire(number, row + 1), wire(number, row + 7)
        parts += [
            f"#place(dx: 10mm, dy: {y}mm, rect(width: 34mm, height: 14mm)[K{number}.{row + 1}])",
            f"#place(dx: 110mm, dy: {y}mm, rect(width: 34mm, height: 14mm)[TB {number}-{row + 1}])",
            f"#place(dx: 44mm, dy: {y + 7}mm, line(length: 66mm))",
            f"#place(dx: 70mm, dy: {y + 2}mm)[W{one}]",
            f"#place(dx: 150mm, dy: {y}mm, rotate(90deg, reflow: true)[W-{other}])",
            f"#place(dx: 60mm, dy: {y + 14}mm, circle(radius: 5mm))",
        ]
    return "\n".join(parts)


def manual_pdf(pages: int) -> bytes:
    """The manual as a PDF."""
    import typst

    made = typst.compile(source(pages).encode(), format="pdf")
    if not isinstance(made, bytes):
        raise TypeError("one document was asked for")
    return made


def main(arguments: list[str] | None = None) -> int:
    """Write the file named."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("file", type=Path)
    asked.add_argument("--pages", type=int, default=500)
    given = asked.parse_args(arguments)
    data = manual_pdf(given.pages)
    given.file.write_bytes(data)
    sys.stdout.write(f"{given.file}: {len(data) / 1e6:.1f} MB\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
