"""The page's own files (scripts, style, pictures), read once; their address changes with their content.

The address holds a digest of all of them, so that a phone keeps them for good and fetches them anew when
they changed. Only names that were read at the start are served: there is no path to walk out of.
"""

from __future__ import annotations

import hashlib
import mimetypes
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable

__all__ = ["StaticFile", "StaticFiles", "static_files"]

_MIMES = {".js": "text/javascript", ".svg": "image/svg+xml", ".css": "text/css"}
_TEXTS = ("text/", "image/svg")


@dataclass(frozen=True, kw_only=True)
class StaticFile:
    """One file: its bytes and what they are."""

    content: bytes
    mime: str


@dataclass(frozen=True, kw_only=True)
class StaticFiles:
    """All files by name, and the digest of names and contents."""

    digest: str
    by_name: Mapping[str, StaticFile]

    def address(self, name: str) -> str:
        """Where a page finds a file; KeyError where there is none."""
        return f"/static/{self.digest}/{name}" if self.by_name[name] else ""


@cache
def static_files() -> StaticFiles:
    """Read the package's static folder."""
    found = dict(sorted(_walk(files("fitup.phone").joinpath("static"), "")))
    digest = hashlib.sha256()
    for name, content in found.items():
        digest.update(f"{name}\0{len(content)}\0".encode() + content)
    return StaticFiles(
        digest=digest.hexdigest()[:16],
        by_name={name: StaticFile(content=content, mime=_mime(name)) for name, content in found.items()},
    )


def _walk(folder: Traversable, head: str) -> Iterator[tuple[str, bytes]]:
    for one in folder.iterdir():
        if one.is_dir():
            yield from _walk(one, f"{head}{one.name}/")
        else:
            yield f"{head}{one.name}", one.read_bytes()


def _mime(name: str) -> str:
    suffix = name[name.rfind(".") :]
    mime = _MIMES.get(suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    return f"{mime}; charset=utf-8" if mime.startswith(_TEXTS) else mime
