"""Which lens profile belongs to a photo, by what the camera wrote into it, and what speaks against one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fitup.errors import UsageError
from fitup.photo import CameraInfo, Photo
from fitup.scale.lens import LensProfile

__all__ = ["LensChoice", "choose_lens"]

_SAME_FOCAL = 0.02  # relative: some phones round the focal length, some give it for each photo
_ZOOM = 1.01
_GUESSED = (
    "the lens distorts: what the strip shows of it was taken out; a lens profile makes places beside it surer"
)
_CONTRADICTED = "the lens profile contradicts this photo (edited, cropped or another lens) and was not used"


@dataclass(frozen=True, kw_only=True, eq=False)
class LensChoice:
    """The profile for a photo, or none; given says that a person named it. `notes` are for that person.

    One that the picture contradicts stays named, and is no longer usable.
    """

    profile: LensProfile | None = None
    given: bool = False
    usable: bool = True
    notes: tuple[str, ...] = ()

    @property
    def used(self) -> LensProfile | None:
        """The profile, where it is to be used."""
        return self.profile if self.usable else None

    def guessed(self) -> LensChoice:
        """Return the choice after the target itself has told a distorting lens."""
        return replace(self, notes=(*self.notes, _GUESSED))

    def contradicted(self) -> LensChoice:
        """Return the choice after the picture has contradicted the profile."""
        return replace(self, usable=False, notes=(*self.notes, _CONTRADICTED))


def choose_lens(
    photo: Photo, candidates: Sequence[LensProfile] = (), given: LensProfile | None = None
) -> LensChoice:
    """Choose by make, model, focal length and size of the picture as stored; the newest profile wins.

    A profile that a person gives is used wherever the size fits; UsageError where it does not.
    """
    camera, size = photo.camera, stored_size(photo)
    if given is not None:
        if given.lens.size_px != size:
            raise UsageError(
                f"The lens profile is for pictures of {_times(given.lens.size_px)} px and {photo.name} has "
                f"{_times(size)}: use the photo as the phone stored it, or fit a lens profile for this size."
            )
        return LensChoice(profile=given, given=True, notes=_doubts(camera, given))
    of_phone = [profile for profile in candidates if _phone(profile) == _phone(camera) != ("", "")]
    if not of_phone:
        return LensChoice()
    if (camera.digital_zoom_ratio or 1.0) > _ZOOM:
        return LensChoice(
            notes=("taken with digital zoom, for which the lens profile of this phone does not hold",)
        )
    of_module = [profile for profile in of_phone if _same_module(camera, profile)]
    if not of_module:
        return LensChoice(notes=("the lens profile of this phone is of another lens than this photo's",))
    fitting = [profile for profile in of_module if profile.lens.size_px == size]
    if not fitting:
        sizes = _times(of_module[0].lens.size_px)
        return LensChoice(
            notes=(f"cropped or scaled: the lens profile of this phone is for {sizes} px and was not used",)
        )
    best = max(fitting, key=lambda profile: (profile.date, profile.sha256))
    return LensChoice(profile=best, notes=_doubts(camera, best))


def stored_size(photo: Photo) -> tuple[int, int]:
    """Width and height before the EXIF orientation was applied."""
    upright = (photo.width_px, photo.height_px)
    return upright if photo.camera.orientation < 5 else (upright[1], upright[0])


def _doubts(camera: CameraInfo, profile: LensProfile) -> tuple[str, ...]:
    """What speaks against a profile that is used all the same."""
    notes: tuple[str, ...] = ()
    if _phone(profile) != _phone(camera):
        notes += ("the lens profile is of another phone than this photo's, or the photo does not say",)
    elif not _same_module(camera, profile):
        notes += ("the lens profile is of another lens than this photo's",)
    if (camera.digital_zoom_ratio or 1.0) > _ZOOM:
        notes += ("taken with digital zoom, for which the lens profile does not hold",)
    if _letters(camera.software) != _letters(profile.software):
        notes += (
            "last written by other software than the lens photos: the profile does not hold if it cropped",
        )
    return notes


def _phone(of: CameraInfo | LensProfile) -> tuple[str, str]:
    return (of.make or "").strip().casefold(), (of.model or "").strip().casefold()


def _same_module(camera: CameraInfo, profile: LensProfile) -> bool:
    """Whether the focal lengths agree: the real one where both name it, else the equivalent."""
    pairs = (
        (camera.focal_length_mm, profile.focal_length_mm),
        (camera.focal_length_35mm, profile.focal_length_35mm),
    )
    known = [(a, b) for a, b in pairs if a is not None and b is not None]
    if not known:
        return all(a is None and b is None for a, b in pairs)
    return all(abs(a / b - 1) <= _SAME_FOCAL for a, b in known)


def _letters(software: str | None) -> str:
    """Name of a program without its version numbers."""
    return "".join(letter for letter in (software or "").casefold() if letter.isalpha())


def _times(size: tuple[int, int]) -> str:
    return f"{size[0]} × {size[1]}"
