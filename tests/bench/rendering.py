"""What the benchmark takes from the scripts that make the demo photos."""

from __future__ import annotations

import sys
from pathlib import Path

DEMO_IMAGES = Path(__file__).resolve().parents[2] / "demo_images"
if str(DEMO_IMAGES) not in sys.path:  # a folder of scripts that import each other by name
    sys.path.append(str(DEMO_IMAGES))

from camera import Camera, Picture, develop  # noqa: E402
from tones import toned  # noqa: E402

__all__ = ["DEMO_IMAGES", "Camera", "Picture", "develop", "toned"]
