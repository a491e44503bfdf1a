"""Render the demo photos anew: python demo_images/render.py [names...] [--out folder] [--variant ...].

Needs the `render` extra. With an NVIDIA card use `--variant cuda_ad_rgb`. A full photo at 192 samples takes
half a minute on a card and some hours on two processor cores. `--scale 0.2 --samples 16` gives a quick look,
`--crop u v width height` renders a window of the full picture, `--linear` keeps the linear-light render.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

LANES = 24_000_000  # light paths followed at once


def main() -> None:
    """Render every photo that is named, or all of them."""
    options = _options()
    import mitsuba as mi

    mi.set_variant(options.variant)
    from scenes import SCENES
    from scenes_kinds import KIND_SCENES

    chosen = [s for s in (*SCENES, *KIND_SCENES) if not options.names or _named(s.name, options.names)]
    options.out.mkdir(parents=True, exist_ok=True)
    for scene in chosen:
        start = time.perf_counter()
        note = photo(scene, options)
        print(f"{scene.name}: {note}, {time.perf_counter() - start:.0f} s", flush=True)
    if any(scene.folder == "seam_900" for scene in chosen):
        from scenes_seam import write_seam

        write_seam(options.out / "seam_900" if options.out == HERE else options.out)


def _named(name: str, wanted: list[str]) -> bool:
    """A photo may be called by its name or its beginning ("30b", "32_02") or its group's number ("30")."""
    group = name.split("_")[0].rstrip("abcd")
    return any(name == w or name.startswith(f"{w}_") or group == w for w in wanted)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", help="photo names or their numbers; none = all")
    parser.add_argument("--out", type=Path, default=HERE)
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--samples", type=int, default=192)
    parser.add_argument("--scale", type=float, default=1.0, help="picture size; below 1 for trials only")
    parser.add_argument("--detail", type=float, default=1.0, help="texture detail of the plates")
    parser.add_argument("--crop", type=int, nargs=4, metavar=("U", "V", "W", "H"))
    parser.add_argument(
        "--linear", action="store_true", help="also keep the linear render (.npy, float16, grey)"
    )
    return parser.parse_args()


def photo(scene: Any, options: argparse.Namespace) -> str:
    """Render and develop one photo; write NAME.jpg and NAME.truth.json, or NAME.png for a trial."""
    from camera import develop, save_jpeg

    folder = options.out / scene.folder if options.out == HERE else options.out
    folder.mkdir(parents=True, exist_ok=True)
    build, truth, _ = _makers(scene)
    world, _parts = build(scene, options.detail)
    linear = render(scene, world, options)
    level = paper_level(scene, world, options)
    pixels = develop(linear, level, scene.camera, scene.picture)
    if options.linear:
        grey = (linear @ np.array([0.299, 0.587, 0.114], dtype=np.float32)) * (
            scene.picture.paper_level / level.mean()
        )
        np.save(options.out / f"{scene.name}.linear.npy", grey.astype(np.float16))
    if options.crop or options.scale != 1.0:
        Image.fromarray(pixels).save(folder / f"{scene.name}.png")
        return "trial"
    path = folder / f"{scene.name}.jpg"
    quality = save_jpeg(pixels, path, scene.camera, scene.picture, scene.taken_at, scene.bytes_limit,
                        scene.folder != ".")  # fmt: skip
    text = json.dumps(truth(scene, quality), indent=1)
    (folder / f"{scene.name}.truth.json").write_text(_short_lists(text) + "\n", encoding="utf-8")
    return f"{path.stat().st_size / 1e6:.2f} MB, quality {quality}"


def _makers(scene: Any) -> tuple[Any, Any, Any]:
    """(build, truth, paper patch) for a butt joint's scene or one of any kind."""
    from hostile_scene import HostileScene
    from kinds_scene import KindScene

    if isinstance(scene, HostileScene):
        from hostile_assemble import build_hostile, hostile_paper_patch_mm, hostile_truth

        return build_hostile, hostile_truth, hostile_paper_patch_mm
    if isinstance(scene, KindScene):
        from kinds_assemble import build_kind, kind_paper_patch_mm
        from kinds_truth import kind_truth

        return build_kind, kind_truth, kind_paper_patch_mm
    from assemble import build, paper_patch_mm, truth

    return build, truth, paper_patch_mm


def render(scene: Any, world: Any, options: argparse.Namespace) -> NDArray[np.float32]:
    """(H, W, 3) linear light, the mean of several passes with their own seeds."""
    import mitsuba as mi

    sensor = _sensor(scene, options)
    height, width = sensor.film().crop_size()[1], sensor.film().crop_size()[0]
    each = max(1, min(options.samples, LANES // (height * width)))
    passes = -(-options.samples // each)
    integrator = mi.load_dict({"type": "path", "max_depth": 7, "rr_depth": 20})
    total = np.zeros((height, width, 3), dtype=np.float32)
    for k in range(passes):
        picture = mi.render(
            world, sensor=sensor, integrator=integrator, spp=each, seed=1000 * scene.joint.seed + k
        )
        total += np.minimum(np.array(picture)[..., :3], 60.0)
    return total / np.float32(passes)


def _sensor(scene: Any, options: argparse.Namespace) -> Any:
    import mitsuba as mi

    camera = scene.camera
    margin = 2 * round(camera.margin_px * options.scale)
    width = round(camera.width_px * options.scale) + margin
    height = round(camera.height_px * options.scale) + margin
    film: dict[str, Any] = {
        "type": "hdrfilm",
        "width": width,
        "height": height,
        "pixel_format": "rgb",
        "component_format": "float32",
        "rfilter": {"type": "box"},
    }
    if options.crop:
        film |= dict(
            zip(("crop_offset_x", "crop_offset_y", "crop_width", "crop_height"), options.crop, strict=True)
        )
    turn, eye = camera.rotation, camera.position_mm
    # The renderer keeps these as 32-bit numbers: a far target keeps the direction exact to 0.01 px.
    pose = mi.ScalarTransform4f().look_at(
        origin=eye.tolist(), target=(eye + 200 * turn[2]).tolist(), up=(-turn[1]).tolist()
    )
    field = float(np.degrees(2 * np.arctan(width / options.scale / 2 / camera.focal_px)))
    lens = {"type": "perspective", "fov": field, "fov_axis": "x", "near_clip": 5.0, "far_clip": 1e5}
    if camera.f_number:
        lens |= {"type": "thinlens", "aperture_radius": camera.focal_mm / camera.f_number / 2,
                 "focus_distance": getattr(camera, "focus_mm", None) or camera.distance_mm}  # fmt: skip
    return mi.load_dict(lens | {"to_world": pose, "film": film, "sampler": {"type": "independent"}})


def paper_level(scene: Any, world: Any, options: argparse.Namespace) -> NDArray[np.float32]:
    """The render's level of plain paper (3,), from a small window over the strip's white right end."""
    at = scene.camera.film_px(_makers(scene)[2](scene))
    frame = np.array([scene.camera.width_px, scene.camera.height_px]) + 2 * scene.camera.margin_px
    at = at[((at > 8) & (at < frame - 8)).all(1)] * 0.25
    low, high = np.floor(at.min(0)).astype(int), np.ceil(at.max(0)).astype(int)
    window = argparse.Namespace(scale=0.25, crop=[*low.tolist(), *(high - low + 1).tolist()], samples=64)
    patch = render(scene, world, window)
    spots = np.rint(at - low).astype(int)
    return np.median(patch[spots[:, 1], spots[:, 0]], axis=0)


def _short_lists(text: str) -> str:
    """Put lists of plain numbers and of pairs on long lines, so that the file stays readable."""
    import re

    text = re.sub(r"\[\s+([^\[\]{}]*?)\s+\]", lambda m: "[" + re.sub(r"\s+", " ", m[1]) + "]", text)
    return re.sub(r"\],\s+\[", "], [", text)


if __name__ == "__main__":
    main()
