"""The scenes of the coverage suite: demo photos with truth, and linear renders where they lie in the cache.

A hostile scene without a linear render takes part with its committed photo as it is.
"""

from __future__ import annotations

import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

from PIL import Image

from tests.bench.rendering import DEMO_IMAGES
from tests.bench.suite_light import LightSource
from tests.bench.truth import Truth, load_truths

__all__ = ["demo_sources", "hostile_sources", "render_missing"]

# What is hostile in a demo photo; the others are clean.
DEMO_FACTORS = {
    "09_side_light": "side light",
    "10_pen_and_scratch": "layout lines",
    "11_back_lit": "light through",
    "13_print_error": "print error",
    "15_mill_hi_lo": "hi-lo step",
    "16_lit_cut_face": "lit cut face",
}


def demo_sources(folder: Path = DEMO_IMAGES) -> list[LightSource]:
    """The committed demo photos with truth, butt joints first."""
    return [
        LightSource(truth=truth, scene_factor=_demo_factor(truth), exif=_exif(truth.photo))
        for truth in (*load_truths(folder), *load_truths(folder / "kinds"))
    ]


def hostile_sources(linear: Path, folder: Path = DEMO_IMAGES / "hostile") -> list[LightSource]:
    """Clean and hostile scenes: by their linear render where there is one, else by their photo as it is."""
    sources = []
    for truth in load_truths(folder):
        render = linear / f"{truth.name}.npz"
        source = LightSource(
            truth=truth, scene_factor=truth.data["factor"], exif=_exif(truth.photo), own=True
        )
        sources.append(source)
        if render.exists():
            sources.append(source.seen_by_others(render))
    return sources


def render_missing(linear: Path) -> str:
    """Render what is missing of the linear renders, if the renderer is installed; a line on what was done."""
    import hostile_scenes

    missing = [s.name for s in hostile_scenes.linear_scenes() if not (linear / f"{s.name}.npz").exists()]
    if not missing:
        return ""
    if find_spec("mitsuba") is None:
        return (
            f"{len(missing)} scenes are not rendered and there is no renderer (the render extra): they take "
            "part with their committed photos only."
        )
    command = [sys.executable, str(DEMO_IMAGES / "hostile.py"), *missing, "--linear", str(linear)]
    subprocess.run([*command, "--linear-only"], check=True)
    return f"{len(missing)} scenes rendered."


def _demo_factor(truth: Truth) -> str:
    kind = truth.data["joint"].get("kind", "butt")
    return DEMO_FACTORS.get(truth.name, "clean") if kind == "butt" else f"kind: {kind}"


def _exif(path: Path) -> bytes:
    with Image.open(path) as image:
        return image.getexif().tobytes()
