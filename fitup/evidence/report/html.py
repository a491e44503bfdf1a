"""The report as one HTML page: nothing from outside, no script, the pictures and files inside it."""

from __future__ import annotations

import base64
from collections.abc import Callable
from html import escape
from typing import Any

from fitup import __version__
from fitup.evidence.palette import VERDICT_LOOKS
from fitup.evidence.report.html_style import style_sheet
from fitup.evidence.report.letters import Letters, shown_report
from fitup.evidence.report.model import (
    Attachment,
    Badge,
    Block,
    Cell,
    Chart,
    Facts,
    Lines,
    Picture,
    Report,
    Section,
    Sheet,
    Table,
    Verdict,
)
from fitup.evidence.report.svg import chart_svg, swatch_svg

__all__ = ["report_html"]

_INTRO = (
    "Some texts hold signs that cannot be seen or that turn the order of letters; they are shown as □. These "
    "are the code points, in order. The files inside this page have every text as it was written."
)
# Nothing may be fetched, whatever a name in a record pretends to be.
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def report_html(report: Report) -> bytes:
    """Write a report as a page in UTF-8; the same report gives the same bytes."""
    shown = shown_report(report, Letters(), _INTRO)
    sheets = "".join(_sheet(sheet) for sheet in shown.sheets)
    files = "".join(_file(file) for file in report.attachments)
    text = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta name="generator" content="fitup {__version__}">\n'
        f"<title>{escape(shown.title)}</title>\n<style>{style_sheet()}</style>\n</head>\n<body>\n<main>\n"
        f"{sheets}<section><h2>Save the files inside this page</h2>{files}</section>\n"
        "</main>\n</body>\n</html>\n"
    )
    return text.encode("utf-8")


def _sheet(sheet: Sheet) -> str:
    sections = "".join(_section(section) for section in sheet.sections)
    head = f"<h1>{_text(sheet.title)}</h1><div class='beside'>{_text(sheet.beside)}</div>"
    return f'<header class="sheet">{head}</header>\n{sections}'


def _section(section: Section) -> str:
    title = f"<h2>{_text(section.title)}</h2>" if section.title else ""
    blocks = "".join(_PAINTERS[type(block)](block) for block in section.blocks)
    return f"<section>{title}{blocks}</section>\n"


def _text(text: str) -> str:
    """Escaped, and kept apart, so that a name in a script from right to left turns nothing beside it."""
    return f"<bdi>{escape(text)}</bdi>"


def _verdict(verdict: Verdict) -> str:
    look = VERDICT_LOOKS[verdict.word]
    figures = "".join(
        f"<div><dt>{_text(label)}</dt><dd>{_text(text)}</dd></div>" for label, text in verdict.figures
    )
    careful = "".join(f'<p class="careful">CAREFUL: {_text(text)}</p>' for text in verdict.careful)
    return (
        f'<div class="top"><div class="word verdict-{verdict.word}"><strong>{look.word}</strong><i></i></div>'
        f'<dl class="figures">{figures}</dl></div><p class="advice">{_text(verdict.advice)}</p>'
        f'<p>{_text(verdict.sentence)}</p>{careful}<p class="fine">{_text(verdict.care)}</p>'
    )


def _facts(facts: Facts) -> str:
    rows = "".join(f"<dt>{_text(label)}</dt><dd>{_text(text)}</dd>" for label, text in facts.rows)
    return f'<dl class="facts">{rows}</dl>'


def _table(table: Table) -> str:
    columns = "".join(f'<col style="width:{100 * width:.1f}%">' for width in table.widths)
    kinds = [' class="num"' if k in table.right else "" for k in range(len(table.heads))]
    heads = "".join(
        f'<th scope="col"{kind}>{_text(head)}</th>' for kind, head in zip(kinds, table.heads, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(f"<td{kind}>{_cell(cell)}</td>" for kind, cell in zip(kinds, row, strict=True))
        + "</tr>"
        for row in table.rows
    )
    return (
        f"<table><colgroup>{columns}</colgroup><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _cell(cell: Cell) -> str:
    if not isinstance(cell, Badge):
        return _text(cell)
    if cell.kind == "verdict":
        return f'<span class="tag verdict-{cell.word}">{VERDICT_LOOKS[cell.word].word}</span>'
    return f'<span class="state">{swatch_svg(cell.word)}{escape(cell.word)}</span>'


def _lines(lines: Lines) -> str:
    return "".join(f"<p>{_text(text)}</p>" for text in lines.texts)


def _picture(picture: Picture) -> str:
    return (
        f'<figure><img src="{_data("image/jpeg", picture.content)}" width="{picture.width_px}" '
        f'height="{picture.height_px}" alt="{escape(picture.caption)}">'
        f"<figcaption>{_text(picture.caption)}</figcaption></figure>"
    )


def _chart(chart: Chart) -> str:
    legend = "".join(f"<span>{swatch_svg(pattern)}{escape(word)}</span>" for pattern, word in chart.legend)
    return (
        f'<figure>{chart_svg(chart)}<div class="legend">{legend}</div>'
        f"<figcaption>{_text(chart.caption)}</figcaption></figure>"
    )


def _file(file: Attachment) -> str:
    name = escape(file.name)
    return f'<p><a download="{name}" href="{_data(file.mime, file.content)}">{name}</a></p>'


def _data(mime: str, content: bytes) -> str:
    return f"data:{mime};base64,{base64.b64encode(content).decode('ascii')}"


_PAINTERS: dict[type[Block], Callable[[Any], str]] = {
    Verdict: _verdict,
    Facts: _facts,
    Table: _table,
    Lines: _lines,
    Picture: _picture,
    Chart: _chart,
}
