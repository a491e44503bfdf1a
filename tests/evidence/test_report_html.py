"""The report as a page: one file, no script, nothing from outside, hostile names harmless, good contrast."""

from __future__ import annotations

import base64
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from fitup.evidence.palette import VERDICT_LOOKS, contrast
from fitup.evidence.report import build_report
from fitup.evidence.report.html import report_html
from fitup.evidence.report.html_style import PAIRS, style_sheet
from fitup.evidence.report.model import Report
from fitup.evidence.report.style import HAIRLINE
from tests.evidence.reported import altered, made_up, texts

HOSTILE = {
    "who": "\"><img src=x onerror=alert(1)>' onmouseover='alert(2)",
    "job": "<script>alert('J')</script>",
    "part": "</td></table></body><style>*{display:none}</style>&amp;",
    "joint": "J4 \u202egpj.exe\u2066 &lt;",
}
_ALONE = {"meta", "img", "col", "br"}
_INSIDE_SVG = {"polygon", "polyline"}
_INLINE = re.compile("data:(image/jpeg|application/json|text/csv);base64,")


class Page(HTMLParser):
    """Tags with attributes, text, and whether tags are closed in order."""

    def __init__(self, content: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.open: list[str] = []
        self.feed(content)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in _ALONE:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert tag in _INSIDE_SVG
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text.append(data)


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    out = tmp_path_factory.mktemp("page")
    folder = made_up(out / "plain", job="RT-40", part="水槽", joint="مفصل")

    def rename(record: dict[str, Any]) -> None:
        record["filing"].update(HOSTILE)
        record["photo"]["name"] = "<b>'\"`.jpg"

    altered(folder, out / "all" / "1", lambda record: None)
    altered(folder, out / "all" / "2", rename)
    return build_report([str(out / "all")])


@pytest.fixture(scope="module")
def page(report: Report) -> Page:
    return Page(report_html(report).decode("utf-8"))


def test_it_is_one_whole_page(page: Page) -> None:
    assert page.open == []
    tags = [tag for tag, _ in page.tags]
    for tag in ("html", "head", "body", "main", "title", "style"):
        assert tags.count(tag) == 1


def test_nothing_comes_from_outside_and_nothing_runs(page: Page) -> None:
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on") or name in ("srcset", "xlink:href")]
        for name in ("src", "href"):
            assert name not in attributes or _INLINE.match(attributes[name])
    policy = next(a["content"] for t, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; ")
    style = style_sheet()
    assert "url(" not in style
    assert "@import" not in style


def test_hostile_names_are_text(page: Page) -> None:
    said = "".join(page.text)
    assert HOSTILE["job"] in said
    assert HOSTILE["who"] in said
    assert HOSTILE["part"] in said
    assert "\u202e" not in said
    assert "\u2066" not in said
    assert "J4 □[1]gpj.exe□[2]" in said
    assert "U+202E" in said
    assert sum(tag == "style" for tag, _ in page.tags) == 1
    for text in ("水槽", "مفصل"):
        assert text in said


def test_it_says_all_that_the_report_says(page: Page, report: Report) -> None:
    said = "".join(page.text)
    for text in texts(report):
        plain = " ".join(text.split())
        if "\u202e" in plain or "\u2066" in plain:
            continue
        word = VERDICT_LOOKS[plain].word if plain in VERDICT_LOOKS else plain
        assert word in said


def test_files_inside_are_byte_for_byte(page: Page, report: Report) -> None:
    files = {
        a["download"]: base64.b64decode(a["href"].partition(",")[2]) for tag, a in page.tags if tag == "a"
    }
    assert files == {file.name: file.content for file in report.attachments}


def test_pictures_have_words(page: Page) -> None:
    pictures = [attributes for tag, attributes in page.tags if tag == "img"]
    charts = [a for tag, a in page.tags if tag == "svg" and a["class"] == "chart"]
    assert len(pictures) == 2
    assert all(attributes["alt"] for attributes in pictures)
    assert charts
    assert all(attributes["aria-label"] and attributes["role"] == "img" for attributes in charts)


def test_every_text_stands_out_from_its_ground() -> None:
    for selector, (ink, ground) in PAIRS.items():
        assert contrast(ink, ground) >= 4.5, selector
    written = set(re.findall(r"#[0-9a-f]{6}", style_sheet()))
    assert written <= {colour for pair in PAIRS.values() for colour in pair} | {HAIRLINE}
    assert not re.search(r"(?<![-\w])(rgb|hsl|opacity)", style_sheet())


def test_verdicts_differ_by_word_and_by_line_and_not_by_colour_alone(page: Page) -> None:
    lines = re.findall(r"\.verdict-([a-z-]+) i \{ border-top: ([^;]+); \}", style_sheet())
    assert {word for word, _ in lines} == set(VERDICT_LOOKS)
    assert len({line for _, line in lines}) == len(VERDICT_LOOKS)
    assert "".join(page.text).index("RE-FIXTURE") < "".join(page.text).index("largest gap")
    states = [a for tag, a in page.tags if tag == "span" and a.get("class") == "state"]
    swatches = [a for tag, a in page.tags if tag == "svg" and a["class"] == "swatch"]
    assert len(swatches) > len(states) > 4


def test_the_same_record_gives_the_same_page(report: Report) -> None:
    assert report_html(report) == report_html(report)


def test_a_page_without_anything_odd_has_no_note_on_letters(tmp_path: Path) -> None:
    said = report_html(build_report([str(made_up(tmp_path))])).decode("utf-8")
    assert "Letters shown as" not in said
