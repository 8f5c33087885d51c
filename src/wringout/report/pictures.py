"""Drawings as whole SVG documents in black and white, for paper."""

from __future__ import annotations

import re

__all__ = ["for_paper", "width_on_page"]

TALLEST = 1.25  # of the line's length, so that a drawing with its caption stands on one page

_STYLE = """
text{font-family:'Libertinus Serif',serif;font-size:12.5px;fill:#000}
text{paint-order:stroke;stroke:#fff;stroke-width:2.5px;stroke-linejoin:round}
.name{font-weight:700}.over{font-weight:700;font-size:14px}.should,.tag,.faint{fill:#333}
text.off{font-weight:700}.middle{text-anchor:middle}.end{text-anchor:end}
path,rect,circle,ellipse{fill:none;stroke:#000;stroke-width:1.3;stroke-linejoin:round;stroke-linecap:round}
.part{fill:#fff;stroke-width:1.6}.off-part{stroke-width:4}.duct{stroke-width:2.6}.pipe{stroke-width:1.5}
.main{stroke-width:2.4}.inside,.rule{stroke-width:1}.solid{fill:#000}.drop{fill:#ccc}.rule{stroke:#777}
.axis{stroke-width:1.4}.saturation{stroke-width:2.2}.humid{stroke:#888;stroke-width:.8}
.read-way{stroke-width:2.8}.should-way{stroke-width:1.6;stroke-dasharray:5 4}.thin{stroke-width:1.1}
ellipse.spread{stroke-width:1}ellipse.read-way{fill:#ccc;fill-opacity:.6;stroke-dasharray:none}.dot{fill:#000}
"""


def for_paper(svg: str) -> str:
    """A drawing of ours as a document of its own, with the lines and letters of print."""
    opening, _, rest = svg.partition(">")
    if "xmlns=" in opening:
        return svg.replace('font-family="sans-serif"', "font-family=\"'Libertinus Serif', serif\"")
    return f'{opening} xmlns="http://www.w3.org/2000/svg"><style>{_STYLE}</style>{rest}'


def width_on_page(svg: str, wanted: float) -> float:
    """The share of the line that a drawing may take: less than wanted where it would outgrow a page."""
    box = re.search(r'viewBox="0 0 ([0-9.]+) ([0-9.]+)"', svg)
    return wanted if box is None else min(wanted, TALLEST * float(box[1]) / float(box[2]))
