"""What a file is, told by its content and never by its name."""

from __future__ import annotations

from pathlib import PurePath

from fitup.errors import PhotoError

__all__ = ["file_kind", "note_on_name"]

_SUFFIXES = {
    "JPEG": (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"),
    "PNG": (".png", ".apng"),
    "WEBP": (".webp",),
    "TIFF": (".tif", ".tiff"),
    "HEIF": (".heic", ".heif", ".hif", ".heics", ".heifs"),
    "AVIF": (".avif", ".avifs"),
}

_PHOTOS = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG", "PNG"),
    (b"II*\0", "TIFF"),
    (b"MM\0*", "TIFF"),
    (b"II+\0", "TIFF"),
    (b"MM\0+", "TIFF"),
)
_GENERAL_BRANDS = frozenset({b"mif1", b"mif2", b"msf1", b"miaf"})
_HEIF_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx"}) | _GENERAL_BRANDS
_AVIF_BRANDS = frozenset({b"avif", b"avis"})

_STRANGERS = (
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"BM", "a BMP picture"),
    (b"8BPS", "a layered picture (PSD)"),
    (b"%!PS", "a PostScript drawing"),
    (b"\0\0\1\0", "an icon"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"v/1\1", "an OpenEXR picture"),
    (b"#?RADIANCE", "an HDR light map"),
    (b"FUJIFILMCCD-RAW", "a camera's raw file"),
    (b"IIRO", "a camera's raw file"),
    (b"IIU\0", "a camera's raw file"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"PK\3\4", "an archive or office document (zip)"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"7z\xbc\xaf", "an archive (7z)"),
    (b"Rar!", "an archive (rar)"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"ID3", "a sound file"),
    *((b"P%d" % number, "a netpbm picture") for number in range(1, 8)),
)
_USE_A_PHOTO = "give the photo as the phone saved it (JPEG or HEIC)"


def file_kind(data: bytes, name: str) -> str:
    """Return "JPEG", "PNG", "WEBP", "TIFF", "HEIF" or "AVIF"; raises PhotoError naming any other kind."""
    for start, kind in _PHOTOS:
        if data.startswith(start):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp":
        return _kind_by_brand(data, name)
    raise PhotoError(f"{name} is {_stranger(data)}, not a photo: {_USE_A_PHOTO}.")


def note_on_name(name: str, kind: str) -> tuple[str, ...]:
    """Note a file name that promises another format than the content has; nothing is lost by it."""
    suffix = PurePath(name).suffix.lower()
    if suffix in _SUFFIXES[kind]:
        return ()
    return (f"its content is {kind} although its name ends in {suffix or 'nothing'}",)


def _kind_by_brand(data: bytes, name: str) -> str:
    box = data[8 : min(int.from_bytes(data[:4], "big"), 256)]
    brands = [box[:4], *(box[at : at + 4] for at in range(8, len(box), 4))]
    if brands[0] in _AVIF_BRANDS:
        return "AVIF"
    if brands[0] in _HEIF_BRANDS:
        # The general brands leave open which codec fills the container.
        return "AVIF" if brands[0] in _GENERAL_BRANDS and _AVIF_BRANDS & set(brands) else "HEIF"
    if _AVIF_BRANDS & set(brands):
        return "AVIF"
    if _HEIF_BRANDS & set(brands):
        return "HEIF"
    what = "a camera's raw file" if brands[0] == b"crx " else "a video"
    raise PhotoError(f"{name} is {what}, not a photo: {_USE_A_PHOTO}.")


def _stranger(data: bytes) -> str:
    for start, what in _STRANGERS:
        if data.startswith(start):
            return what
    if data[:4] == b"RIFF":
        return "a sound or video file"
    if not any(data[:4096]):
        return "filled with zeros"
    head = data[:1024].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith((b"<!doctype html", b"<html")):
        return "a web page"
    if head.startswith((b"<svg", b"<?xml")):
        return "an XML document or drawing"
    return "a text file" if _is_text(data[:1024]) else "of an unknown kind"


def _is_text(head: bytes) -> bool:
    return all(byte >= 32 or byte in b"\t\r\n\f\x1b" for byte in head)
