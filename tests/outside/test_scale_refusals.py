"""Photographs without a target (scikit-image's data set, from many authors) must be refused with a reason."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import data
from skimage.color import rgb2gray

from fitup.errors import RetakeError
from fitup.scale import find_target
from tests.scale.drawing_world import photo_of

# Those that come inside the package and need no download.
PICTURES = (
    "camera",
    "coins",
    "page",
    "text",
    "brick",
    "grass",
    "gravel",
    "moon",
    "checkerboard",
    "astronaut",
)


@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize("enlarge", [1, 3])
def test_photo_without_target_is_refused(name, enlarge):
    try:
        picture = getattr(data, name)()
    except (OSError, ConnectionError, ModuleNotFoundError):
        pytest.skip(f"scikit-image has {name} only for download")
    if picture.ndim == 3:
        picture = np.rint(255 * rgb2gray(picture)).astype(np.uint8)
    with pytest.raises(RetakeError) as caught:
        find_target(photo_of(np.kron(picture, np.ones((enlarge, enlarge), np.uint8))))
    assert caught.value.reason in {"no target", "too few markers"}
    assert caught.value.remedy
