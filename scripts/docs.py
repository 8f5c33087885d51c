"""Write the generated pages of docs/ anew; the tests hold them up to date. Run as `make docs`."""

from __future__ import annotations

import sys
from pathlib import Path

from wringout import nomenclature
from wringout.catalogue.page import causes_page, cautions_page

DOCS = Path(__file__).resolve().parent.parent / "docs"

PAGES = {
    "causes.md": causes_page,
    "cautions.md": cautions_page,
    "nomenclature.md": nomenclature.page,
}

if __name__ == "__main__":
    for name, written in PAGES.items():
        (DOCS / name).write_text(written(), encoding="utf-8")
        sys.stdout.write(f"docs/{name}\n")
