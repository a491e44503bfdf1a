"""The photos of the coverage suite: which scene is seen by which camera, and the cache that keeps them.

A photo lies in the cache as NAME.jpg beside NAME.recipe, a digest of all that it was made from: the light's
own file, the camera's numbers, and what the picture chain makes of a small test light. What is missing or has
another digest is made.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import cv2

from tests.bench import suite_shot
from tests.bench.suite_cameras import OWN_CAMERA, SuiteCamera, cameras_for
from tests.bench.suite_light import LightSource
from tests.bench.truth import Truth

__all__ = ["SuitePhoto", "build", "plan", "recipe", "suite_photo", "tidy", "workers"]

PROCESSES = 2
# By kind of light source: ordinary cameras and cameras with a factor for every scene.
DEMO_SHARE, KINDS_SHARE, RENDER_SHARE = (3, 9), (2, 3), (2, 7)


@dataclass(frozen=True, kw_only=True, eq=False)
class SuitePhoto:
    """One scene seen by one camera."""

    source: LightSource
    camera: SuiteCamera
    path: Path

    @property
    def name(self) -> str:
        return self.path.stem

    @property
    def truth(self) -> Truth:
        """The scene's truth, as that of this photo."""
        return replace(self.source.truth, name=self.name, photo=self.path)

    @property
    def good(self) -> bool:
        """A clean scene seen by an ordinary phone."""
        return self.source.clean and self.camera.ordinary

    @property
    def ready(self) -> bool:
        if self.source.own:
            return True
        kept = self.path.with_suffix(".recipe")
        return self.path.exists() and kept.exists() and kept.read_text() == recipe(self)


def suite_photo(source: LightSource, camera: SuiteCamera, folder: Path) -> SuitePhoto:
    if source.own:
        return SuitePhoto(source=source, camera=camera, path=source.truth.photo)
    return SuitePhoto(source=source, camera=camera, path=folder / f"{source.truth.name}__{camera.name}.jpg")


def plan(sources: list[LightSource], folder: Path) -> list[SuitePhoto]:
    """Every photo of the suite; which cameras see a scene follows from its place among its like."""
    photos, seen = [], {DEMO_SHARE: 0, KINDS_SHARE: 0, RENDER_SHARE: 0}
    for source in sources:
        if source.own:
            photos.append(suite_photo(source, OWN_CAMERA, folder))
            continue
        share = _share(source)
        photos += [suite_photo(source, camera, folder) for camera in cameras_for(seen[share], *share)]
        seen[share] += 1
    return photos


def _share(source: LightSource) -> tuple[int, int]:
    if source.rendered:
        return RENDER_SHARE
    return KINDS_SHARE if source.scene_factor.startswith("kind: ") else DEMO_SHARE


def recipe(photo: SuitePhoto) -> str:
    """Digest of all that the photo is made from."""
    source, camera = photo.source, photo.camera
    told = [source.digest(), source.distortion, suite_shot.scale_of(source, camera), camera.distortion,
            camera.picture.quality, suite_shot.trial_digest(camera)]  # fmt: skip
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()


def build(photos: list[SuitePhoto], tell: Callable[[str], None] = print) -> int:
    """Make what is missing, scene by scene in two processes; give how many photos were made."""
    missing = [photo for photo in photos if not photo.ready]
    by_scene: dict[str, list[SuitePhoto]] = {}
    for photo in missing:
        photo.path.parent.mkdir(parents=True, exist_ok=True)
        by_scene.setdefault(photo.source.truth.name, []).append(photo)
    with workers() as pool:
        for done in pool.map(_build_scene, by_scene.values()):
            tell(done)
    return len(missing)


def tidy(photos: list[SuitePhoto], folder: Path) -> None:
    """Take out of the cache what no photo of the plan needs."""
    needed = {photo.path.stem for photo in photos}
    for path in (*folder.glob("*.jpg"), *folder.glob("*.recipe"), *folder.glob("*.part")):
        if path.stem not in needed:
            path.unlink()


def workers() -> ProcessPoolExecutor:
    """Two processes, started afresh: a fork would copy locks of the image library that no thread opens."""
    return ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn"), initializer=_modest)


def _modest() -> None:
    """One thread a process, behind everybody else's work."""
    os.nice(max(10 - os.nice(0), 0))
    cv2.setNumThreads(1)


def _build_scene(photos: list[SuitePhoto]) -> str:
    source = photos[0].source
    light = source.light()
    for photo in photos:
        told = recipe(photo)
        suite_shot.shoot(source, light, photo.camera, photo.path, seed=int(told[:8], 16))
        photo.path.with_suffix(".recipe").write_text(told)
    return f"{photos[0].source.truth.name}: {len(photos)} photos"
