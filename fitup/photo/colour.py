"""Notes on colour: which profile a photo carries and whether the sRGB tone curve holds for it."""

from __future__ import annotations

from fitup.errors import PhotoError

__all__ = ["HDR_TRANSFERS", "note_on_profile", "refuse_hdr"]

# ITU-T H.273: transfer characteristics of HDR pictures.
HDR_TRANSFERS = {16: "PQ", 18: "HLG"}

_SAME_CURVE = {"sRGB": "", "Display P3": "wide gamut (Display P3): same tone curve as sRGB, nothing is lost"}
_OTHER_CURVE = ("Adobe RGB", "ProPhoto", "Rec. 2020", "Rec2020", "BT.2020", "HLG", "PQ")


def note_on_profile(profile: bytes | None) -> tuple[str, ...]:
    """Name what an ICC profile means for the tone curve; nothing to say for sRGB or no profile."""
    if not profile:
        return ()
    for name, note in _SAME_CURVE.items():
        if _names(profile, name):
            return (note,) if note else ()
    for name in _OTHER_CURVE:
        if _names(profile, name):
            return (f"colour profile {name}: its tone curve differs from sRGB, which was assumed",)
    if profile[16:20] == b"GRAY":
        return ()
    return ("unknown colour profile: the sRGB tone curve was assumed",)


def _names(profile: bytes, name: str) -> bool:
    # Descriptions are ASCII in version 2 profiles and UTF-16 in version 4.
    return name.encode() in profile or name.encode("utf-16-be") in profile


def refuse_hdr(name: str, transfer: int) -> PhotoError:
    """Error for a photo whose tone curve is not that of a standard picture: widths would read wrong."""
    return PhotoError(
        f"{name} is coded with the HDR tone curve {HDR_TRANSFERS[transfer]}, in which widths read wrong: "
        "take the photo with HDR output switched off."
    )
