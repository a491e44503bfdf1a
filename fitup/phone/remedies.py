"""Which drawing shows a remedy: fitup says remedies in words, and a phone shows what to do beside them.

The pictures are `static/pictures/NAME.svg`; what each asks for is the text `remedy.NAME`.
"""

from __future__ import annotations

from collections.abc import Iterable

__all__ = [
    "PICTURES",
    "picture_of_reason",
    "picture_of_remedy",
    "pictures_of_remedies",
    "retake_pictures",
]

PICTURES = (
    *("closer", "steady", "square", "slant", "lamp", "light", "darker", "strip", "flat"),
    *("clear", "whole", "original", "two", "ends"),
)

# Words of a remedy's own sentence, the telling ones first.
_BY_WORDS = (
    ("two targets", "two"),
    ("second target", "two"),
    ("on each plate", "two"),
    ("lay one on each", "two"),
    ("points", "ends"),
    ("placement guide", "slant"),
    ("mirror", "original"),
    ("flat", "flat"),
    ("bow", "flat"),
    ("darker", "darker"),
    ("lamp", "lamp"),
    ("shine", "lamp"),
    ("glint", "lamp"),
    ("light", "light"),
    ("closer", "closer"),
    ("nearer", "closer"),
    ("come to about", "closer"),
    ("still", "steady"),
    ("rest the phone", "steady"),
    ("sharp", "steady"),
    ("straight", "square"),
    ("square", "square"),
    ("from above", "square"),
    ("beside the joint", "strip"),
    ("target", "strip"),
    ("strip", "strip"),
    ("clear", "clear"),
    ("wipe", "clear"),
    ("clean", "clear"),
    ("cover", "clear"),
    ("in the frame", "whole"),
    ("whole", "whole"),
    ("length", "whole"),
    ("camera stored", "original"),
    ("full size", "original"),
    ("filter", "original"),
)
_BY_REASON = {
    "covered": "clear",
    "second line": "clear",
    "lit from behind": "clear",
    "glare": "lamp",
    "shadow": "lamp",
    "low contrast": "light",
    "land not seen": "light",
    "dark": "light",
    "burnt out": "darker",
    "poor photo": "steady",
    "poor fit": "steady",
    "blurred": "steady",
    "shaken": "steady",
    "outside photo": "whole",
    "no photo": "whole",
    "steep view": "square",
    "too coarse": "closer",
    "no joint": "ends",
    "more than one line": "ends",
    "no target": "strip",
    "no such strip": "strip",
    "too few markers": "strip",
    "mirrored target": "original",
    "no camera pose": "original",
    "bent target": "flat",
    "second target not found": "two",
    "targets of no one joint": "two",
}


def picture_of_reason(reason: str) -> str:
    """The picture for the machine word of a retake, or of an unseen station."""
    return _BY_REASON.get(reason, "whole")


def picture_of_remedy(remedy: str) -> str:
    """The picture for a remedy's sentence; "" where none shows it."""
    said = remedy.lower()
    return next((picture for words, picture in _BY_WORDS if words in said), "")


def pictures_of_remedies(remedies: Iterable[str]) -> dict[str, str]:
    """Picture to remedy, in their order, no picture twice.

    Left out are remedies that no picture shows, and those that are said to whoever types commands.
    """
    told: dict[str, str] = {}
    for remedy in remedies:
        picture = picture_of_remedy(remedy)
        if picture and "--" not in remedy and "(fitup " not in remedy:
            told.setdefault(picture, remedy)
    return told


def retake_pictures(reason: str, remedy: str) -> tuple[str, ...]:
    """The pictures for a photo that gave no result, at most three: by its reason, then by its remedy."""
    told = [picture_of_reason(reason), picture_of_remedy(remedy)]
    if reason in ("no joint", "no target"):
        told += ["strip", "light"]
    return tuple(dict.fromkeys(one for one in told if one))[:3]
