"""Render the gauge study's photos: python demo_images/study.py [names...] [--out F] [--variant ...].

Renders what is missing of NAME.jpg and NAME.truth.json in --out (kept out of git). It needs the `render`
extra. With an NVIDIA card use `--variant cuda_ad_rgb`: some minutes for all; two processor cores need two or
three minutes a photo. `python demo_images/study.py p3_N2 --samples 16 --out F` gives a quick look.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

if TYPE_CHECKING:
    from study_scenes import StudyScene


def main() -> None:
    """Render every scene that is named, or all of them, as far as their photos are missing."""
    options = _options()
    import mitsuba as mi
    import render

    mi.set_variant(options.variant)
    if options.variant.startswith("llvm"):
        render.LANES = 3_000_000  # what two cores' memory bears
    from study_apart import APART
    from study_scenes import STUDY

    options.out.mkdir(parents=True, exist_ok=True)
    for scene in (*STUDY, *APART):
        if options.names and not any(scene.name.startswith(n) for n in options.names):
            continue
        if (options.out / f"{scene.name}.truth.json").exists():
            continue
        start = time.perf_counter()
        note = _photo(scene, options)
        print(f"{scene.name}: {note}, {time.perf_counter() - start:.0f} s", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", help="beginnings of names; none = all")
    parser.add_argument("--out", type=Path, default=HERE.parent / "out" / "study")
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--samples", type=int, default=96)
    parser.add_argument("--detail", type=float, default=1.25, help="texture detail of the plates")
    return parser.parse_args()


def _photo(scene: StudyScene, options: argparse.Namespace) -> str:
    """Write the photo and then its truth; the linear light is dropped: no other camera looks at it."""
    from camera import develop, save_jpeg
    from hostile_assemble import build_hostile, hostile_truth
    from render import _short_lists, paper_level, render

    world, _ = build_hostile(scene, options.detail)
    whole = argparse.Namespace(scale=1.0, crop=None, samples=options.samples)
    light = render(scene, world, whole)
    pixels = develop(light, paper_level(scene, world, whole), scene.camera, scene.picture)
    path = options.out / f"{scene.name}.jpg"
    quality = save_jpeg(pixels, path, scene.camera, scene.picture, scene.taken_at, scene.bytes_limit, True)
    truth = hostile_truth(scene, quality) | {
        "study": {"part": scene.part, "phone": scene.phone, "repeat": scene.repeat}
    }
    text = _short_lists(json.dumps(truth, indent=1))
    (options.out / f"{scene.name}.truth.json").write_text(text + "\n", encoding="utf-8")
    return f"{path.stat().st_size / 1e3:.0f} kB, quality {quality}"


if __name__ == "__main__":
    main()
