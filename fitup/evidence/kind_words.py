"""What a joint of each kind is called, and between what its gap is, in words (AWS A3.0)."""

from __future__ import annotations

__all__ = ["gap_between", "kind_name"]

_NAMES = {
    "butt": "butt joint",
    "seam": "seam",
    "corner-full-open": "full-open corner",
    "corner-half-open": "half-open corner",
    "corner-flush": "flush corner",
    "corner-inside": "inside corner",
    "tee": "T-joint",
    "lap": "lap joint",
    "edge": "edge joint",
}
_STANDING = "from the standing plate's lower arris to the base"
_GAPS = {
    "corner-full-open": "between the inner arrises",
    "corner-half-open": "from the inner arris to the other plate's cut face",
    "corner-flush": "from the inner arris to the other plate's outer arris",
    "corner-inside": _STANDING,
    "tee": _STANDING,
    "lap": "from the upper sheet's lower arris to the lower sheet",
    "edge": "between the inner arrises",
}


def kind_name(kind: str) -> str:
    """The kind in a fitter's words; a word that is not known stands for itself."""
    return _NAMES.get(kind, kind)


def gap_between(kind: str) -> str:
    """Between what the gap of this kind of joint is measured."""
    return _GAPS.get(kind, "between the upper arrises")
