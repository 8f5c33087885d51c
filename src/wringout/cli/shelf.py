"""``wringout shelf``: manuals and wiring diagrams of a unit, searched, shown and pinned."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.shelf.search import Found, Hit
    from wringout.shelf.shelf import Document, Pin, Shelf

__all__ = ["command"]

SEARCH_FORMAT, LIST_FORMAT = "wringout-shelf-search/1", "wringout-shelf-list/1"
NOTE = (
    "The shelf is the file named by --shelf, else by WRINGOUT_SHELF, else shelf.sqlite in the folder of the "
    "record. UNIT is a unit document, or the unit's name. Exit codes: 0 done, 2 something to mend."
)
MOST_NUMBERS = 12

_shelf_option = click.option(
    "--shelf", "path", type=click.Path(), default=None, metavar="FILE", help="The shelf to use; see below."
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Write the answer as JSON.")


def _unit_option(words: str, *, required: bool = False) -> Callable[..., Any]:
    return click.option("--unit", default=None, required=required, metavar="UNIT", help=words)


@click.group("shelf", epilog=f"{NOTE} Example: wringout shelf search W37")
def command() -> None:
    """Manuals and wiring diagrams of a unit: by word, part or wire number, terminal; offline."""


@command.command("add", epilog=f"{NOTE} Example: wringout shelf add manual.pdf --unit unit.yaml")
@click.argument("files", metavar="FILE.pdf...", nargs=-1, required=True, type=click.Path())
@_unit_option("The unit they belong to.", required=True)
@click.option("--ocr", is_flag=True, help="Read pages without text from their pictures (extra ocr).")
@_shelf_option
def add(files: tuple[str, ...], unit: str, ocr: bool, path: str | None) -> None:
    """Put PDF files on the shelf for a unit; each of them whole, or not at all."""
    from wringout.shelf.ocr import rapid_engine

    name = _unit_named(unit)[0]
    engine = rapid_engine() if ocr else None
    with _open(path, create=True) as shelf:
        for file in files:
            added = shelf.add(file, name, engine=engine)
            click.echo(_added(file, added.document, added.new, added.read))


@command.command("search", epilog=f"{NOTE} Example: wringout shelf search TB1-7 --unit unit.yaml")
@click.argument("words", nargs=-1, required=True)
@_unit_option("Only what belongs to this unit.")
@click.option("--limit", type=click.IntRange(1, 200), default=10, show_default=True, help="Hits to show.")
@_json_option
@_shelf_option
def search(words: tuple[str, ...], unit: str | None, limit: int, as_json: bool, path: str | None) -> None:
    """Find words, part and wire numbers, terminals: what is exactly so first, near ones after it.

    Each hit has a name, such as 3f2a91c0:112:45, for `shelf show` and `shelf pin`.
    """
    from wringout.shelf.search import search as find

    with _open(path) as shelf:
        found = find(shelf, " ".join(words), unit=_unit_named(unit)[0] if unit else None, limit=limit)
        pins = shelf.pins()
    if as_json:
        document = {
            "format": SEARCH_FORMAT,
            "query": " ".join(words),
            "pages": found.pages,
            "hits": [_hit_as_json(hit, pins) for hit in found.hits],
        }
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    click.echo("\n".join(_found_lines(found, pins)))


@command.command("show", epilog=f"{NOTE} Example: wringout shelf show 3f2a91c0:112:45 -o page.png")
@click.argument("hit")
@click.option(
    "-o", "--output", required=True, type=click.Path(), metavar="FILE.png", help="Where to write it."
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@_shelf_option
def show(hit: str, output: str, force: bool, path: str | None) -> None:
    """Write the page of a hit as a picture, the hit framed."""
    from wringout.cli.layout import counted
    from wringout.shelf.hit import place_from
    from wringout.shelf.picture import marked, png

    target = Path(output)
    if target.suffix.lower() != ".png" or target.is_dir():
        raise InputError("name a file that ends in .png", output or "-o")
    if target.exists() and not force:
        raise InputError("this file is there already; --force writes over it", output)
    place = place_from(hit)
    with _open(path) as shelf:
        document = shelf.document(place.document)
        picture = shelf.picture(place)
        pins = [pin for pin in shelf.pins() if _same_page(pin, place.document, place.page)]
    try:
        target.write_bytes(png(marked(picture)))
    except OSError as error:
        raise DataError(f"{output}: cannot be written: {error.strerror or error}") from None
    click.echo(
        f"{output}: {document.name}, page {place.page} of {document.pages}, "
        f"{counted(len(picture.marks), 'word')} framed"
    )
    for pin in pins:
        click.echo(f"pinned to {pin.target} of {pin.unit}")


@command.command("pin", epilog=f"{NOTE} Example: wringout shelf pin 3f2a91c0:112:45 --to loop.flow")
@click.argument("hit")
@click.option(
    "--to", "target", required=True, metavar="POINT|CAUSE", help="A test point or a cause, by its id."
)
@_unit_option("The unit, where the document belongs to several; a document checks the point or cause too.")
@click.option("--off", is_flag=True, help="Take the pin off again.")
@_shelf_option
def pin(hit: str, target: str, unit: str | None, off: bool, path: str | None) -> None:
    """Keep a hit at a test point or a cause of its unit."""
    from wringout.shelf.hit import place_from

    place = place_from(hit)
    name, document = _unit_named(unit) if unit else (None, None)
    kind = _kind_of(target, document)
    with _open(path) as shelf:
        kept = shelf.pin(place, name, kind, target, present=not off)
    click.echo(f"{kept.hit} {'no longer ' if off else ''}pinned to {kept.kind} {kept.target} of {kept.unit}")


@command.command("list", epilog=f"{NOTE} Example: wringout shelf list --json")
@_unit_option("Only what belongs to this unit.")
@_json_option
@_shelf_option
def listing(unit: str | None, as_json: bool, path: str | None) -> None:
    """What is on the shelf, which of its pages have no text, and what is pinned."""
    name = _unit_named(unit)[0] if unit else None
    with _open(path) as shelf:
        documents, pins = shelf.documents(name), shelf.pins(name)
        found = {pin: shelf.words_of(pin.hit) for pin in pins}
    if as_json:
        document = {
            "format": LIST_FORMAT,
            "documents": [_document_as_json(one) for one in documents],
            "pins": [{**_pin_as_json(pin), "words": list(found[pin])} for pin in pins],
        }
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    click.echo("\n".join(_list_lines(documents, found)))


@command.command("remove", epilog=f"{NOTE} Example: wringout shelf remove 3f2a91c0 --unit unit.yaml")
@click.argument("document")
@_unit_option("Only from this unit; without it, from all.")
@_shelf_option
def remove(document: str, unit: str | None, path: str | None) -> None:
    """Take a document off the shelf; its bytes stay in the file, and adding it again takes no time."""
    with _open(path) as shelf:
        found, gone = shelf.remove(document, _unit_named(unit)[0] if unit else None)
    click.echo(f"{found.name}: off the shelf for {', '.join(gone)}")


def _open(path: str | None, *, create: bool = False) -> Shelf:
    import os
    import sys

    from wringout.shelf.place import usual_place
    from wringout.shelf.shelf import open_shelf

    if path == "":
        raise InputError("empty; name the file of the shelf", "--shelf")
    place = Path(path) if path else usual_place(os.environ, sys.platform, Path.home())
    return open_shelf(place, create=create)


def _unit_named(words: str) -> tuple[str, Unit | None]:
    """The name of a unit, and its document where that was given."""
    if not words.lower().endswith((".yaml", ".yml", ".json")):
        return words, None
    from wringout.documents.load import load_unit

    unit = load_unit(words)
    return unit.name, unit


def _kind_of(target: str, unit: Unit | None) -> str:
    from wringout.catalogue.causes import applies, causes
    from wringout.catalogue.points import has_point
    from wringout.documents.fields import nearest

    if target in causes():
        if unit is not None and not applies(target, unit):
            raise InputError(f"{unit.name} is of a kind that cannot have this cause", target)
        return "cause"
    try:
        has_point(unit, target)
    except InputError as error:
        if "." in target:
            raise
        raise InputError(
            f"there is no cause of this id{nearest(target, causes(), listed=False)}", target[:60]
        ) from error
    return "point"


def _added(file: str, document: Document, new: bool, read: int) -> str:
    from wringout.cli.layout import counted

    said = f"{file}: {counted(document.pages, 'page')}"
    said += f", document {document.short}" if new else f", on the shelf already as {document.short}"
    if read:
        said += f"; {counted(read, 'page')} read by OCR"
    if document.without_text:
        said += f"; without text: {_numbers(document.without_text)} (--ocr reads them)"
    return said


def _numbers(pages: tuple[int, ...]) -> str:
    more = f" and {len(pages) - MOST_NUMBERS} more" if len(pages) > MOST_NUMBERS else ""
    return f"page{'' if len(pages) == 1 else 's'} {', '.join(map(str, pages[:MOST_NUMBERS]))}{more}"


def _same_page(pin: Pin, document: str, page: int) -> bool:
    one, other = sorted((pin.hit.document, document), key=len)
    return other.startswith(one) and pin.hit.page == page


def _hit_as_json(hit: Hit, pins: tuple[Pin, ...]) -> dict[str, Any]:
    return {
        "hit": str(hit.place),
        "document": hit.document,
        "page": hit.place.page,
        "of": hit.pages,
        "nearness": hit.nearness.name.lower(),
        "words": list(hit.words),
        "excerpt": hit.excerpt,
        "source": hit.source,
        "mended": hit.mended,
        "units": list(hit.units),
        "pins": [_pin_as_json(p) for p in pins if _same_page(p, hit.place.document, hit.place.page)],
    }


def _pin_as_json(pin: Pin) -> dict[str, Any]:
    return {
        "hit": str(pin.hit),
        "document": pin.document,
        "unit": pin.unit,
        "kind": pin.kind,
        "to": pin.target,
        "at": pin.at.isoformat(),
    }


def _document_as_json(document: Document) -> dict[str, Any]:
    return {
        "document": document.short,
        "sha256": document.sha256,
        "name": document.name,
        "pages": document.pages,
        "added": document.added.isoformat(),
        "units": list(document.units),
        "without_text": list(document.without_text),
        "read_by_ocr": list(document.read_by_ocr),
    }


def _found_lines(found: Found, pins: tuple[Pin, ...]) -> list[str]:
    from wringout.cli.layout import counted, heading, paragraph

    if not found.hits:
        return ["nothing found"]
    lines = []
    for hit in found.hits:
        where = f"{hit.document}, page {hit.place.page} of {hit.pages}"
        lines.append(heading(f"{', '.join(hit.words[:6])} - {hit.nearness.told}"))
        lines.append(paragraph(where + (", read by OCR" if hit.source == "ocr" else ""), 2))
        lines.append(paragraph(f'"{hit.excerpt}"', 2))
        lines += [
            paragraph(f"{right} was read as {read}", 2)
            for read, right in hit.mended.items()
            if right in hit.words
        ]
        lines += [
            paragraph(f"pinned to {pin.target} of {pin.unit}", 2)
            for pin in pins
            if _same_page(pin, hit.place.document, hit.place.page)
        ]
        lines += [f"  {hit.place}", ""]
    if found.pages > len(found.hits):
        lines.append(f"{len(found.hits)} of {counted(found.pages, 'page')}; --limit shows more")
        return lines
    return lines[:-1]


def _list_lines(documents: tuple[Document, ...], pins: dict[Pin, tuple[str, ...]]) -> list[str]:
    from wringout.cli.layout import counted, heading, paragraph

    if not documents:
        return ["nothing on the shelf"]
    lines = []
    for document in documents:
        lines.append(heading(f"{document.name}: {', '.join(document.units)}"))
        lines.append(
            paragraph(
                f"{document.short}, {counted(document.pages, 'page')}, "
                f"added {document.added:%Y-%m-%d %H:%M} UTC",
                2,
            )
        )
        if document.read_by_ocr:
            lines.append(paragraph(f"read by OCR: {_numbers(document.read_by_ocr)}", 2))
        if document.without_text:
            lines.append(paragraph(f"without text: {_numbers(document.without_text)}", 2))
    if pins:
        lines += ["", heading("Pinned")]
        lines += [
            paragraph(
                f"{pin.target} of {pin.unit}: {pin.document}, page {pin.hit.page}"
                + (f', "{" ".join(said[:6])}"' if said else "")
                + f" ({pin.hit})",
                2,
                2,
            )
            for pin, said in pins.items()
        ]
    return lines
