"""TOML files with lines: every value is found where it stands, and wrong files are refused."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitup.errors import UsageError
from fitup.toml_lines import MOST_BYTES, TomlFile, nearest, read_toml

WRITTEN = '''# a comment with [brackets] and = signs
job = "RT-40 # no comment"
"größe" = 1

[defaults]
wire = { size = "0.9mm", feed = 12.7 }   # inline
text = """
three
lines = "4"
"""
path = 'C:\\prints\\'

[[joint]]
name = "J1"
weld.power = 500
plates = [
  "1.5mm",   # first
  # second
  { sheet = "18ga", material = "stainless" } ]
[joint.more]
x = 1979-05-27 07:32:00
[[joint.photo]]
y = ""
[[joint]]
name = 'J2'
[[joint.photo]]
y = """"quoted" end"""
[[joint.photo]]
y = 2
'''


def read(folder: Path, text: str | bytes) -> TomlFile:
    path = folder / "shop.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_toml(path, "joint list")


def refusal(folder: Path, text: str | bytes) -> str:
    with pytest.raises(UsageError) as caught:
        read(folder, text)
    return str(caught.value)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_lines_of_a_file_with_everything(tmp_path: Path, ends: str, mark: str) -> None:
    file = read(tmp_path, mark + WRITTEN.replace("\n", ends))
    line_of = {
        ("job",): 2,
        ("größe",): 3,
        ("defaults",): 5,
        ("defaults", "wire", "size"): 6,
        ("defaults", "wire", "feed"): 6,
        ("defaults", "text"): 7,
        ("defaults", "path"): 11,
        ("joint", 0): 13,
        ("joint", 0, "weld", "power"): 15,
        ("joint", 0, "plates"): 16,
        ("joint", 0, "plates", 0): 17,
        ("joint", 0, "plates", 1, "material"): 19,
        ("joint", 0, "more", "x"): 21,
        ("joint", 0, "photo", 0, "y"): 23,
        ("joint", 1, "name"): 25,
        ("joint", 1, "photo", 0, "y"): 27,
        ("joint", 1, "photo", 1, "y"): 29,
    }
    assert {place: file.line_of(place) for place in line_of} == line_of
    assert set(leaves(file.values)) <= set(file.lines)


def test_what_has_no_line_of_its_own_has_that_of_its_table(tmp_path: Path) -> None:
    file = read(tmp_path, 'a = 1\n[[joint]]\nname = "J1"\n')
    assert file.line_of(("joint", 0, "wire")) == 2
    assert str(file.fault(("joint", 0, "wire"), "write it.")) == "shop.toml, line 2: write it."
    assert str(file.fault(("part",), "write it.")) == "shop.toml: write it."


def leaves(value: Any, place: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Places of all values that are no tables or arrays."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*place, key))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from leaves(inner, (*place, number))
    else:
        yield place


KEYS = st.one_of(st.text("abz-_09", min_size=1, max_size=4), st.text(max_size=4))
PLAIN = st.one_of(st.integers(-9, 99), st.booleans(), st.text(max_size=6), st.floats(0, 9))


def inline(value: Any) -> st.SearchStrategy[Any]:
    return st.one_of(st.lists(value, max_size=3), st.dictionaries(KEYS, value, max_size=3))


def toml(value: Any) -> str:
    """A value as TOML on one line; arrays over several."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(key)} = {toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[ # ] an array\n" + "".join(f"  {toml(inner)} ,\n" for inner in value) + "]"
    return quoted(value) if isinstance(value, str) else json.dumps(value)


def quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


VALUES = st.recursive(PLAIN, inline, max_leaves=8)


@settings(deadline=None, max_examples=100, derandomize=True)
@given(tables=st.lists(st.dictionaries(KEYS, VALUES, max_size=4), min_size=1, max_size=4))
def test_every_value_is_found_in_the_line_where_it_was_written(
    tmp_path_factory: pytest.TempPathFactory, tables: list[dict[str, Any]]
) -> None:
    text = ""
    expected = {}
    for number, table in enumerate(tables):
        text += "\n# [[joint]]\n[[joint]]\n"
        for key, value in table.items():
            expected["joint", number, key] = text.count("\n") + 1
            text += f"  {quoted(key)} = {toml(value)} # = x\n"
    file = read(tmp_path_factory.getbasetemp(), text)
    assert file.values == tomllib.loads(text)
    assert {place: file.lines[place] for place in expected} == expected
    assert set(leaves(file.values)) <= set(file.lines)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "shop.toml: the joint list is empty"),
        ("# nothing\n", "shop.toml: the joint list is empty"),
        ("a = 1\nb = \n", "shop.toml, line 2: the joint list is no sound TOML (invalid value)"),
        ("a = 1\na = 2\n", "shop.toml, line 2: the joint list is no sound TOML (cannot overwrite"),
        ('a = "x', "no sound TOML (unterminated string)"),
        (b'a = 1\nb = "\xe4"\n', "shop.toml, line 2: the joint list is not UTF-8 text: save it as UTF-8."),
        ("a = 1\n".encode("utf-16"), "not UTF-8"),
        (b"\x00\x01", "shop.toml, line 1: the joint list is no sound TOML"),
        ("a = " + "[" * 3000, "no sound TOML (it cannot be understood)"),
        ("a." * 3000 + "a = 1", "shop.toml, line 1: over 4000 characters in one line"),
        ("#" * 100 + "\n" * MOST_BYTES, "shop.toml: the joint list is over 1 MB: name the right file."),
    ],
    ids=range(11),
)
def test_what_is_no_file_of_this_kind_is_said_in_one_sentence(
    tmp_path: Path, text: str | bytes, words: str
) -> None:
    said = refusal(tmp_path, text)
    assert words in said
    assert "\n" not in said
    assert said.endswith(".")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for name, words in (("nowhere.toml", "no such file"), ("a\0b", "its name is no file's name")):
        with pytest.raises(UsageError, match=words):
            read_toml(tmp_path / name, "joint list")
    with pytest.raises(UsageError, match="cannot be read: is a directory"):
        read_toml(tmp_path, "joint list")


def test_nearest_word() -> None:
    assert nearest("wier", ("wire", "sheet")) == "wire"
    assert nearest("xyz", ("wire", "sheet")) == ""
