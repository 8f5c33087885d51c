"""An address as a QR code: on a page, and in a terminal."""

from __future__ import annotations

import io

__all__ = ["qr_svg", "qr_text"]


def qr_svg(link: str) -> str:
    """A QR code as an SVG element, dark on light in every theme, for scanners."""
    import segno

    code = segno.make(link, error="m", micro=False)
    size = code.symbol_size(border=3)[0]
    cells = []
    for y, row in enumerate(code.matrix):
        run = 0
        for x, dark in enumerate([*row, 0]):
            if dark:
                run += 1
            elif run:
                cells.append(f"M{x - run + 3} {y + 3}h{run}v1h-{run}z")
                run = 0
    return (
        f'<svg class="qr" viewBox="0 0 {size} {size}" role="img" aria-label="QR code of the pairing address">'
        f'<rect class="qr-light" width="{size}" height="{size}"/>'
        f'<path class="qr-dark" d="{"".join(cells)}"/></svg>'
    )


def qr_text(link: str) -> str:
    """A QR code for a terminal."""
    import segno

    out = io.StringIO()
    segno.make(link, error="l", micro=False).terminal(out, compact=True)
    return out.getvalue()
