"""The picture for the fitter: verdict on top, the photo with the joint drawn in states, magnified spots.

States differ by colour (three of the Okabe-Ito palette), by line pattern and by word; see `palette`.
"""

from __future__ import annotations

import hashlib
import io
import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image, ImageOps
from pillow_heif import register_heif_opener

from fitup.evidence.canvas import Font, Picture, draw_label, draw_pattern, fitted, font, rgb, text_size
from fitup.evidence.joint_drawing import draw_joint, joint_line
from fitup.evidence.palette import BLACK, SPOT_LOOKS, STATE_LOOKS, VERDICT_LOOKS
from fitup.evidence.shape_building import shape_in_words
from fitup.evidence.subject import Subject
from fitup.evidence.words import gap_and_where, limit_and_why
from fitup.evidence.zoom import places_to_show, zoom_panel

if TYPE_CHECKING:
    from fitup.photo import Photo

__all__ = ["overlay_jpeg", "overlay_picture"]

_PAGE_WIDTH = 1600
_MOST_PHOTO_HEIGHT = 1500
_LEAST_TITLE_HEIGHT = 226
_UNIT = 3  # width of a thin line on the photo [px]
_FINE_UNIT = 2  # the same in panels and legend
_MOST_PANELS = 3
_PANEL_HEIGHT = 300
_GUTTER = 8
# A photo file is read again for its colours; more than open_photo takes is not looked at.
_MOST_COLOUR_BYTES = 60_000_000
_QUALITIES = (88, 75, 60, 45)
_MOST_BYTES = 1_500_000


def overlay_jpeg(
    subject: Subject, photo_path: str | os.PathLike[str] | None = None, caption: str = ""
) -> bytes:
    """The overlay picture as a JPEG of at most some 1.5 MB.

    Parameters
    ----------
    photo_path : path, optional
        Where the photo lies, to show it in colour. It is used only if its bytes are the measured ones;
        otherwise the photo is shown in grey.
    caption : str
        One line below the verdict, such as photo, job and part.
    """
    picture = Image.fromarray(overlay_picture(subject, photo_path, caption))
    content = b""
    for quality in _QUALITIES:
        stream = io.BytesIO()
        picture.save(stream, "JPEG", quality=quality, subsampling=0, optimize=True)
        content = stream.getvalue()
        if len(content) <= _MOST_BYTES:
            break
    return content


def overlay_picture(
    subject: Subject, photo_path: str | os.PathLike[str] | None = None, caption: str = ""
) -> Picture:
    """The overlay picture, (H, 1600, 3) RGB."""
    photo = _photo_part(subject, photo_path)
    parts = [_title_bar(subject, caption), photo, *_zoom_row(subject), _legend(subject)]
    return np.ascontiguousarray(np.vstack([part for part in parts if part.size]))


def _photo_part(subject: Subject, photo_path: str | os.PathLike[str] | None) -> Picture:
    photo = subject.photo
    factor = min(_PAGE_WIDTH / photo.width_px, _MOST_PHOTO_HEIGHT / photo.height_px)
    size = (max(1, round(photo.width_px * factor)), max(1, round(photo.height_px * factor)))
    picture = _coloured(subject, photo_path, size)
    page = np.full((picture.shape[0], _PAGE_WIDTH, 3), 230, np.uint8)
    left = (_PAGE_WIDTH - picture.shape[1]) // 2
    page[:, left : left + picture.shape[1]] = picture
    # Drawn on the page and not on the photo: beside an upright photo there is room for the words.
    draw_joint(page, subject, joint_line(subject, factor, left), _UNIT)
    return page


def _coloured(subject: Subject, path: str | os.PathLike[str] | None, size: tuple[int, int]) -> Picture:
    """The photo at `size` (width, height), in colour if the file is there and unchanged, else in grey."""
    colour = None if path is None else _in_colour(Path(path), subject.photo, size)
    if colour is not None:
        return colour
    grey = cv2.resize(subject.photo.grey8, size, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(np.repeat(grey[..., None], 3, axis=2))


def _in_colour(path: Path, photo: Photo, size: tuple[int, int]) -> Picture | None:
    """Any trouble here costs the colours, never the result: the photo was measured already."""
    try:
        content = path.read_bytes() if path.stat().st_size <= _MOST_COLOUR_BYTES else b""
        if hashlib.sha256(content).hexdigest() != photo.sha256:
            return None
        if photo.format in ("HEIF", "AVIF"):
            register_heif_opener()
        with Image.open(io.BytesIO(content)) as image:
            image.draft("RGB", (2 * max(size), 2 * max(size)))
            upright = ImageOps.exif_transpose(image)
            if not math.isclose(
                upright.width / upright.height, photo.width_px / photo.height_px, rel_tol=0.01
            ):
                return None
            upright.thumbnail((2 * max(size), 2 * max(size)), Image.Resampling.BOX)
            picture = np.asarray(upright.convert("RGB").resize(size, Image.Resampling.LANCZOS), np.uint8)
    except Exception:
        return None
    return picture.copy()


def _title_bar(subject: Subject, caption: str) -> Picture:
    """Verdict word on its colour, then the numbers behind it and what to do."""
    verdict = subject.verdict
    look = VERDICT_LOOKS[str(verdict.word)]
    big, middle, small = font(60, bold=True), font(28, bold=True), font(21)
    block = text_size(look.word, big)[0] + 60
    room = _PAGE_WIDTH - block - 40
    lines = [
        (f"largest gap {gap_and_where(verdict)}", middle),
        *((line, small) for line in _wrapped(shape_in_words(subject), small, room, most=2)),
        *((line, small) for line in _wrapped(f"limit {limit_and_why(verdict)}", small, room, most=2)),
        *((line, small) for line in _wrapped(verdict.advice, small, room, most=2)),
        (caption or subject.photo.name, small),
    ]
    needed = 16 + sum(text_size(text, face)[1] + 10 for text, face in lines)
    height = max(_LEAST_TITLE_HEIGHT, needed)
    bar = np.full((height, _PAGE_WIDTH, 3), 255, np.uint8)
    bar[:, :block] = rgb(look.colour)
    draw_label(bar, (18, height / 2 - 48), look.word, big, colour=look.text_colour, halo=False)
    top = 8
    for text, face in lines:
        draw_label(bar, (block + 16, top), fitted(text, face, room), face, colour=BLACK, halo=False)
        top += text_size(text, face)[1] + 10
    return bar


def _wrapped(text: str, face: Font, room: int, most: int) -> list[str]:
    """Text broken between words into at most `most` lines; the last one takes the rest."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and (len(lines) == most or text_size(longer, face)[0] <= room):
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _zoom_row(subject: Subject) -> list[Picture]:
    places = places_to_show(subject, _MOST_PANELS)
    if not places:
        return []
    row = np.full((_PANEL_HEIGHT + 2 * _GUTTER, _PAGE_WIDTH, 3), 255, np.uint8)
    width = (_PAGE_WIDTH - _GUTTER * (len(places) + 1)) // len(places)
    for number, place in enumerate(places):
        left = _GUTTER + number * (width + _GUTTER)
        row[_GUTTER:-_GUTTER, left : left + width] = zoom_panel(
            subject, place, width, _PANEL_HEIGHT, _FINE_UNIT
        )
    return [row]


def _legend(subject: Subject) -> Picture:
    """What each line means, and what this picture is not."""
    looks = STATE_LOOKS if subject.verdict.land_rule is None else SPOT_LOOKS
    bar = np.full((52, _PAGE_WIDTH, 3), 255, np.uint8)
    face, left = font(20), 16
    for look in looks.values():
        sample = np.array([[left, 26.0], [left + 70.0, 26.0]])
        draw_pattern(bar, sample, look.colour, look.pattern, _FINE_UNIT)
        box = draw_label(bar, (left + 76, 9), look.word, face, colour=BLACK, halo=False)
        left = box[2] + 24
    text = "informs only, releases nothing for welding"
    text = text if len(looks) > len(STATE_LOOKS) else f"mm from the datum mark · {text}"
    width = text_size(text, face)[0]
    draw_label(bar, (_PAGE_WIDTH - width - 20, 9), text, face, colour=BLACK, halo=False)
    bar[:1] = rgb(BLACK)
    return bar
