"""`fitup lens`: fit a lens profile from photos of the lens board, list and show those that are kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from fitup.errors import FitupError, PhotoError, UsageError

if TYPE_CHECKING:
    from fitup.scale import LensProfile
    from fitup.scale.lens_board import LensPhoto
    from fitup.scale.lens_fit import LensFit

__all__ = ["fit", "list_kept", "profiles_for_inspecting", "show"]


def fit(photos: Sequence[str], *, out: str | None, folder: str | None, fisheye: bool) -> int:
    """Fit the lens of one phone module and keep it: in the folder of profiles, or in a file.

    Raises
    ------
    UsageError, RetakeError, StorageError
        Where the photos are not of one camera, do not suffice, or the profile cannot be written.
    """
    from fitup.cli.inspecting import find_photos
    from fitup.cli.screen import print_line
    from fitup.scale.lens_file import lens_file_name, save_lens_profile, usual_lens_folder
    from fitup.scale.lens_set import fit_profile

    if out is not None and (Path(out).suffix.lower() != ".json" or "\0" in out):
        raise UsageError(f"--out needs a file that ends in .json, not {Path(out).name[:60]!r}.")
    paths, faults = find_photos(photos)
    if faults:
        raise faults[0]
    looked = [_look(path) for path in paths]
    for photo in looked:
        print_line(_line(photo))
    kind: Literal["auto", "fisheye"] = "fisheye" if fisheye else "auto"
    profile, found = fit_profile(looked, kind)
    path = Path(out) if out is not None else _folder(folder, usual_lens_folder()) / lens_file_name(profile)
    save_lens_profile(profile, path)
    for text in _described(profile, found):
        print_line(text)
    print_line(f"{path}: kept; fitup inspect {_how(profile, out)}.")
    return 0


def list_kept(folder: str | None) -> int:
    """One line for every profile of a folder, and for every file there that is none."""
    from fitup.cli.screen import print_line
    from fitup.scale.lens_file import lens_profiles_in, usual_lens_folder

    where = _folder(folder, usual_lens_folder())
    profiles, troubles = lens_profiles_in(where)
    for profile in sorted(profiles, key=lambda one: (one.make or "", one.model or "", one.date)):
        print_line(profile.sentence)
    for trouble in troubles:
        print_line(trouble)
    if not profiles:
        print_line(f"No lens profile is kept in {where}.")
    return 0


def show(file: str) -> int:
    """Show one profile."""
    from fitup.cli.screen import print_line
    from fitup.scale import load_lens_profile

    for text in _described(load_lens_profile(file), None):
        print_line(text)
    return 0


def profiles_for_inspecting(folder: str | None) -> tuple[LensProfile, ...]:
    """Profiles to choose from by EXIF; a damaged one is told of and left out."""
    from fitup.cli.boundary import report
    from fitup.scale.lens_file import lens_profiles_in, usual_lens_folder

    profiles, troubles = lens_profiles_in(_folder(folder, usual_lens_folder()))
    for trouble in troubles:
        report(UsageError(trouble))
    return profiles


def _folder(named: str | None, usual: Path) -> Path:
    from fitup.cli.inspecting import is_folder

    if named is None:
        return usual
    if not is_folder(Path(named)):
        raise UsageError(f"The lens folder {Path(named).name[:60]!r} does not exist: name the right folder.")
    return Path(named)


def _look(path: Path) -> LensPhoto:
    """One photo; a file that is none becomes a photo that cannot be used."""
    import numpy as np

    from fitup.photo import CameraInfo, open_photo
    from fitup.scale.lens_board import LensPhoto, look_at_board
    from fitup.scale.lens_bundle import LensView

    try:
        return look_at_board(open_photo(path))
    except PhotoError as fault:
        return LensPhoto(
            name=path.name,
            camera=CameraInfo(),
            size_px=(0, 0),
            view=LensView(name=path.name, points_mm=np.empty((0, 2)), points_px=np.empty((0, 2))),
            blur_px=math.nan,
            trouble=f"cannot be opened ({_reason(fault)})",
        )


def _reason(fault: FitupError) -> str:
    return str(fault).rstrip(".")


def _line(photo: LensPhoto) -> str:
    if photo.trouble:
        return f"{photo.name}: not used, it {photo.trouble}"
    return f"{photo.name}: {len(photo.view.points_px)} checker corners, blur {photo.blur_px:.1f} px"


def _described(profile: LensProfile, found: LensFit | None) -> list[str]:
    """A profile in words and numbers; u is a standard uncertainty."""
    from fitup.scale.lens_model import COEFFICIENTS

    lens, C = profile.lens, profile.covariance
    names = COEFFICIENTS[lens.kind]
    coefficients = ", ".join(
        f"{name} {value:+.4f} (u {math.sqrt(C[4 + k][4 + k]):.4f})"
        for k, (name, value) in enumerate(zip(names, lens.coefficients, strict=False))
    )
    lines = [
        profile.sentence,
        f"model         {lens.kind}: {coefficients}",
        f"focal length  {lens.focal_px:.2f} px (u {profile.u_focal * lens.focal_px:.2f} px) "
        f"at {profile.distance_mm:.0f} mm; focus {profile.focus:.2f} (u {math.sqrt(C[3][3]):.2f})",
        f"centre        {lens.centre_px[0]:.1f}, {lens.centre_px[1]:.1f} px "
        f"(u {math.sqrt(C[1][1]):.1f}, {math.sqrt(C[2][2]):.1f} px) of the picture as stored",
        f"residual      {profile.rms_px:.3f} px rms over {profile.point_count} corners, "
        f"{profile.left_px:.3f} px of it not explained by the model",
        f"digest        {profile.sha256}",
    ]
    if found is not None:
        stretch, *bows = found.board
        lines.insert(
            5,
            f"board         {100 * stretch:+.2f} % longer across than along, "
            f"bowed by {max(abs(bow) for bow in bows):.2f} mm; other photos predict one to "
            f"{found.predicted_px:.3f} px",
        )
    return lines


def _how(profile: LensProfile, out: str | None) -> str:
    if out is not None:
        return "takes it with --lens"
    if not (profile.make or profile.model):
        return "takes it with --lens only, since the photos do not name their camera"
    return "finds it by itself for photos of this lens and size"
