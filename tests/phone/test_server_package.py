"""What the page is made of travels with the package."""

from __future__ import annotations

import tomllib
from pathlib import Path

import fitup.phone

ROOT = Path(__file__).parents[2]


def test_templates_pictures_and_words_are_package_data() -> None:
    folder = Path(fitup.phone.__file__).parent
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["fitup.phone"]
    packed = {path for pattern in patterns for path in folder.glob(pattern)}
    there = {path for path in folder.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc")}
    assert there
    assert there <= packed
