"""A report as one HTML page: no script, no address, prints as it stands."""

from __future__ import annotations

import base64
from html import escape
from importlib import resources

from wringout.report.blocks import Block, Box, Heading, Items, Page, Paragraph, Picture, Report, Table

__all__ = ["html_of"]


def html_of(report: Report) -> str:
    """Write a report as HTML."""
    style = resources.files("wringout.report").joinpath("print.css").read_text(encoding="utf-8")
    inside: list[str] = []
    for block in report.blocks:
        inside += _block(block)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(report.title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(report.title)}</h1>\n<p>{escape(report.subtitle)}</p>\n"
        + "\n".join(inside)
        + f"\n</main>\n<footer><p>{escape(report.foot)}</p></footer>\n</body>\n</html>\n"
    )


def _block(block: Block) -> list[str]:
    if isinstance(block, Heading):
        return [f"<h{block.level}>{escape(block.text)}</h{block.level}>"]
    if isinstance(block, Paragraph):
        kind = ' class="strong"' if block.strong else ""
        return [f"<p{kind}>{escape(block.text)}</p>"]
    if isinstance(block, Items):
        return _list(block.items, "ol" if block.numbered else "ul")
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Box):
        return [
            f'<div class="box"><p><strong>{escape(block.title)}</strong></p>',
            *_list(block.items),
            "</div>",
        ]
    if isinstance(block, Picture):
        data = base64.b64encode(block.svg.encode()).decode()
        return [
            f'<figure><img src="data:image/svg+xml;base64,{data}" alt="{escape(block.alt)}" '
            f'style="width:{100.0 * block.width:.0f}%">'
            f"<figcaption>{escape(block.caption)}</figcaption></figure>"
        ]
    assert isinstance(block, Page)
    return ['<div class="page"></div>']


def _list(items: tuple[tuple[str, str], ...], tag: str = "ul") -> list[str]:
    rows = [
        f"<li>{f'<strong>{escape(lead)}</strong> ' if lead else ''}{escape(text)}</li>"
        for lead, text in items
    ]
    return [f"<{tag}>", *rows, f"</{tag}>"] if rows else []


def _table(block: Table) -> list[str]:
    heads = "".join(f'<th scope="col">{escape(h)}</th>' for h in block.heads)
    rows = [
        "<tr>"
        + "".join(
            f'<th scope="row">{escape(c)}</th>' if k == 0 else f"<td>{escape(c)}</td>"
            for k, c in enumerate(row)
        )
        + "</tr>"
        for row in block.rows
    ]
    return [
        f'<div class="wide"><table><caption>{escape(block.caption)}</caption>',
        f"<thead><tr>{heads}</tr></thead><tbody>",
        *rows,
        "</tbody></table></div>",
    ]
