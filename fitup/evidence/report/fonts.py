"""The fonts of a report: those that come with the plotting library, and a person's own for other scripts.

DejaVu Sans has Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew, Arabic and combining marks. It has no
Chinese, Japanese, Korean, Indic or Thai letters. Its licence allows embedding.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from fontTools.ttLib import TTFont
from PIL import ImageFont

from fitup.errors import StorageError, UsageError
from fitup.evidence.canvas import font
from fitup.evidence.writing import printable_name

__all__ = ["Faces", "faces"]

_LARGEST_BYTES = 64_000_000
_RESTRICTED = 0x0002
_BITMAP_ONLY = 0x0200


@dataclass(frozen=True, kw_only=True)
class Faces:
    """Font files, and the code points that can be shown with them in both weights."""

    regular: Path
    bold: Path
    own: Path | None
    known: frozenset[int]


def faces(own: str | None = None) -> Faces:
    """The fonts of a report; `own` is a further font file for letters that they lack.

    Raises
    ------
    UsageError
        When the further font cannot be used, or does not allow embedding.
    StorageError
        When the fonts of the installation are missing.
    """
    regular, bold = _installed(False), _installed(True)
    known = _letters(regular) & _letters(bold)
    path = None if own is None else Path(own)
    return Faces(
        regular=regular, bold=bold, own=path, known=known if path is None else known | _own_letters(path)
    )


def _installed(bold: bool) -> Path:
    face = font(10, bold)
    if not isinstance(face, ImageFont.FreeTypeFont) or not isinstance(face.path, str):
        raise StorageError("the fonts that come with matplotlib are missing: install fitup anew.")
    return Path(face.path)


@lru_cache(maxsize=4)
def _letters(path: Path) -> frozenset[int]:
    with TTFont(path, lazy=True) as opened:
        return frozenset(opened.getBestCmap())


def _own_letters(path: Path) -> frozenset[int]:
    name = printable_name(path.name)
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise UsageError(f"the font {name} cannot be read: {reason}.") from None
    try:
        with TTFont(io.BytesIO(content[:_LARGEST_BYTES]), lazy=True) as opened:
            rights, letters = opened["OS/2"].fsType, frozenset(opened.getBestCmap() or ())
            outlines = {"glyf", "CFF "} & set(opened.keys())
    except Exception:  # whatever a file that is no font makes of the reader
        raise UsageError(f"{name} is no font that can be embedded: give a .ttf or .otf file.") from None
    if rights & _RESTRICTED or rights & _BITMAP_ONLY:
        raise UsageError(f"the font {name} does not allow embedding: give another one.")
    if not outlines or not letters:
        raise UsageError(f"{name} is no font that can be embedded: give a .ttf or .otf file.")
    return letters
