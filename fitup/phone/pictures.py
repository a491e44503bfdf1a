"""Addresses of pictures: which part of a photo, how large; a few sizes only, so that few are made."""

from __future__ import annotations

import re

from fitup.errors import UsageError

__all__ = ["CACHED", "VIEW_PX", "Box", "box_of", "picture_name", "stepped"]

Box = tuple[int, int, int, int]
CACHED = {"cache-control": "private, max-age=31536000, immutable"}
"""For answers that never change, and are for this phone alone."""

VIEW_PX = 1600
"""The longer side of a photo's view, which is made when it is measured: what a phone shows of it at once."""
_STEPS = (480, 800, 1200, VIEW_PX, 2400, 4000)
_BOX = re.compile(r"(-?[0-9]{1,6})(?:\.[0-9]+)?")


def stepped(most_px: int) -> int:
    """The smallest of our sizes that is not below what was asked for, or the largest."""
    return next((step for step in _STEPS if step >= most_px), _STEPS[-1])


def box_of(written: str) -> Box | None:
    """The part `left,top,right,bottom` [px of the upright photo]; None for all of it.

    Raises
    ------
    UsageError
        When it is no such part.
    """
    if not written:
        return None
    numbers = [_BOX.fullmatch(word.strip()) for word in written.split(",")]
    if len(numbers) != 4 or not all(numbers):
        raise UsageError("a part of the photo is left,top,right,bottom in px: four numbers.")
    left, top, right, bottom = (int(one[1]) for one in numbers if one)
    if left >= right or top >= bottom:
        raise UsageError("the part of the photo is empty: its right and bottom lie beyond left and top.")
    return left, top, right, bottom


def picture_name(digest: str, most_px: int, box: Box | None) -> str:
    """The file under which it is kept."""
    part = "" if box is None else "-" + "_".join(map(str, box))
    return f"pictures/{digest[:2]}/{digest}-{most_px}{part}.jpg"
