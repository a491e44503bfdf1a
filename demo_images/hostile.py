"""Render the hostile photos: python demo_images/hostile.py [names...] [--linear F] [--out F] ...

Linear renders are kept in --linear and used again; `--linear-only` stops after them. It needs the
`render` extra. `python demo_images/hostile.py h14 h15 --linear-only --samples 16` gives a quick look.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]


def main() -> None:
    """Render, develop and write down every hostile scene that is named, or all of them."""
    options = _options()
    import mitsuba as mi
    import render

    mi.set_variant(options.variant)
    if options.variant.startswith("llvm"):
        render.LANES = 3_000_000  # what two cores' memory bears
    from hostile_scenes import HOSTILE

    options.out.mkdir(parents=True, exist_ok=True)
    for scene in HOSTILE:
        if options.names and not any(scene.name.startswith(n) for n in options.names):
            continue
        start = time.perf_counter()
        note = _photo(scene, options)
        print(f"{scene.name}: {note}, {time.perf_counter() - start:.0f} s", flush=True)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", help="beginnings of names; none = all")
    parser.add_argument("--linear", type=Path, default=HERE.parent / "out" / "suite" / "linear")
    parser.add_argument("--out", type=Path, default=HERE / "hostile")
    parser.add_argument("--variant", default="llvm_ad_rgb")
    parser.add_argument("--samples", type=int, default=64)
    parser.add_argument("--detail", type=float, default=1.25, help="texture detail of the plates")
    parser.add_argument("--linear-only", action="store_true")
    return parser.parse_args()


def _photo(scene: object, options: argparse.Namespace) -> str:
    from camera import develop, save_jpeg
    from hostile_assemble import hostile_truth
    from hostile_scene import HostileScene
    from hostile_scenes import HOSTILE
    from linear import linear_render
    from render import _short_lists

    assert isinstance(scene, HostileScene)
    base = next((s for s in HOSTILE if s.name == scene.linear_of), scene)
    kept = linear_render(base, options.linear, options.samples, options.detail)
    if options.linear_only:
        return "linear"
    pixels = develop(kept.light.astype(np.float32), kept.paper, scene.camera, scene.picture)
    path = options.out / f"{scene.name}.jpg"
    quality = save_jpeg(pixels, path, scene.camera, scene.picture, scene.taken_at, scene.bytes_limit, True)
    text = json.dumps(hostile_truth(scene, quality), indent=1)
    (options.out / f"{scene.name}.truth.json").write_text(_short_lists(text) + "\n", encoding="utf-8")
    return f"{path.stat().st_size / 1e3:.0f} kB, quality {quality}"


if __name__ == "__main__":
    main()
