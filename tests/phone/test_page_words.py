"""Words, lengths, pictures and files of the phone page, without a browser."""

from __future__ import annotations

import json
import re
import string
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fitup.joint import JointKind
from fitup.phone import remedies, static_files
from fitup.phone.lengths_shown import shown_lengths
from fitup.phone.texts import LANGUAGES, texts_of
from fitup.verdict.advice import _REMEDIES

FOLDER = Path(static_files.__file__).parent
TEMPLATES = sorted((FOLDER / "templates").rglob("*.html"))
SCRIPTS = sorted((FOLDER / "static").glob("*.js"))
OTHERS = [language for language in LANGUAGES if language != "en"]
_LETTERS = re.compile(r"[A-Za-z]{2,}")
SHOWN = ("alt", "title", "aria-label", "placeholder")


def values_in(text: str) -> list[str]:
    return sorted(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)


@pytest.mark.parametrize("language", OTHERS)
def test_every_language_has_the_same_texts(language: str) -> None:
    english, other = texts_of("en").by_key, texts_of(language).by_key
    assert set(english) == set(other)
    assert {key for key in english if values_in(english[key]) != values_in(other[key])} == set()
    assert all(text.strip() for text in other.values())


def test_texts_that_templates_and_scripts_ask_for_exist() -> None:
    known = texts_of("en")
    for template in TEMPLATES:
        content = template.read_text(encoding="utf-8")
        for key in re.findall(r'\btext\("([^"]+)"\s*[,)]', content):
            assert known.has(key), (template.name, key)
        for head in re.findall(r'\btext(?:\.known)?\("([^"]+)\." ~', content):
            assert known.table(head), (template.name, head)
    in_scripts = {
        key for one in SCRIPTS for key in re.findall(r'\btext\(\s*"([^"]+)"', one.read_text("utf-8"))
    }
    assert in_scripts <= set(known.table("js"))


class _Literals(HTMLParser):
    """Words that stand in a template itself, between tags or in attributes that people are told."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_data(self, data: str) -> None:
        if _LETTERS.search(re.sub(r"\b(px|mm|kB)\b", "", data)):
            self.found.append(data.strip())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = [(name, value) for name, value in attrs if name in SHOWN and value and _LETTERS.search(value)]
        self.found += [f"{name}={value}" for name, value in told]
        self.found += [f"{name}=" for name, _ in attrs if name == "style" or name.startswith("on")]


@pytest.mark.parametrize("template", TEMPLATES, ids=lambda path: path.name)
def test_no_template_holds_words_style_or_script(template: Path) -> None:
    bare = re.sub(r"\{#.*?#\}|\{%.*?%\}", "", template.read_text(encoding="utf-8"), flags=re.DOTALL)
    bare = re.sub(r"\{\{.*?\}\}", "h2", bare, flags=re.DOTALL)
    reader = _Literals()
    reader.feed(bare)
    assert reader.found == []
    assert "<style" not in bare
    assert all("src=" in tag or "application/json" in tag for tag in re.findall(r"<script[^>]*>", bare))


def test_a_verdict_never_tells_anybody_to_weld() -> None:
    for language in LANGUAGES:
        texts = texts_of(language)
        for table in ("verdict", "means", "state", "spot", "retake", "remedy", "js"):
            said = " ".join(texts.table(table).values()).lower()
            assert not re.search(r"\bweld\b|\bwelding\b|soldar\b|soldadura\b(?<!de soldadura)", said), table


def test_every_kind_reason_and_remedy_has_words_and_a_picture() -> None:
    texts, files = texts_of("en"), static_files.static_files()
    for kind in JointKind:
        assert texts.has(f"kind.{kind}")
        assert texts.has(f"place.{kind}")
    for reason in _REMEDIES:
        assert texts.has(f"reason.{reason}")
        assert remedies.picture_of_reason(reason) in remedies.PICTURES
    for picture in remedies.PICTURES:
        assert texts.has(f"remedy.{picture}")
        assert f"pictures/{picture}.svg" in files.by_name


@pytest.mark.parametrize(
    ("remedy", "picture"),
    [
        ("come to about 10 cm", "closer"),
        ("rest the phone on something, or hold it with both hands", "steady"),
        ("turn the lamp to the other side of the joint, so that no arris glints", "lamp"),
        ("expose darker: tap the bright plate before you take the photo", "darker"),
        ("lay the target flat, with magnets or tape at its ends", "flat"),
        ("hold the phone straight above the joint", "square"),
        ("hold the phone as the placement guide shows for this joint, square onto the opening", "slant"),
        ("bring more light to the joint", "light"),
        ("lay a second target on the other plate", "two"),
        ("something that nobody has drawn", ""),
    ],
)
def test_pictures_fit_what_is_said(remedy: str, picture: str) -> None:
    assert remedies.picture_of_remedy(remedy) == picture


def test_remedies_for_the_command_line_stay_there() -> None:
    said = ["give the radius of the sheet's arrises (--arris-radius), light the plates evenly", "come closer"]
    assert remedies.pictures_of_remedies(said) == {"closer": "come closer"}


class TestLengths:
    def test_places_are_rounded_outwards(self) -> None:
        mm, inch = shown_lengths("mm"), shown_lengths("inch")
        assert mm.ends(142.25, 167.75) == ("142", "168")
        assert mm.ends(148.75, 153.25) == ("148.75", "153.25")
        start, end = map(float, inch.ends(142.25, 167.75))
        assert start * 25.4 <= 142.25
        assert end * 25.4 >= 167.75
        assert "…" in mm.stretch(-3.0, 12.0)

    def test_a_gap_beside_its_limit_is_not_shown_equal(self) -> None:
        for units in ("mm", "inch"):
            shown = shown_lengths(units)
            assert shown.gap(0.9004, beside_mm=0.9) != shown.gap(0.9)
        assert shown_lengths("mm").gap(0.9) == "0.90\u00a0mm"
        assert shown_lengths("inch").gap(0.889) == "0.035\u00a0in"

    def test_what_is_not_there_is_a_dash(self) -> None:
        shown = shown_lengths("furlong")
        assert shown.units == "mm"
        assert shown.gap(None) == shown.gap(float("nan")) == shown.place(None) == "–"
        assert shown.spread(-0.02, 0.03) == "0.00\u00a0±\u00a00.06\u00a0mm"
        assert shown.spread(1.2, 0.0185) == "1.20\u00a0±\u00a00.04\u00a0mm"
        assert shown_lengths("inch").spread(1.2, 0.0185) == "0.047\u00a0±\u00a00.002\u00a0in"


def test_files_have_an_address_that_changes_with_them() -> None:
    files = static_files.static_files()
    assert re.fullmatch(r"[0-9a-f]{16}", files.digest)
    assert files.address("page.js") == f"/static/{files.digest}/page.js"
    assert files.by_name["page.js"].mime.startswith("text/javascript")
    with pytest.raises(KeyError):
        files.address("../page_context.py")


def test_scripts_name_no_other_server() -> None:
    for one in SCRIPTS:
        found = re.findall(r"https?://[^\"' ]+", one.read_text("utf-8"))
        assert set(found) <= {"http://www.w3.org/2000/svg"}, one.name  # a name of SVG, not an address
    assert json.dumps(texts_of("en").table("js"))
