"""What a scale target is made of: checker squares, markers, saddle points, paper, all in the target frame.

Target frame: origin at the datum mark, x right along the strip, y up towards the joint, z towards
the camera, millimetres. The board library counts y down from the same corner, so that its
(x, y) is (x, -y) here. The checker pattern therefore fills 0 <= x <= length, -width <= y <= 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.errors import UsageError

__all__ = ["FORMS", "TargetLayout", "known_layouts", "target_layout"]

# White paper kept around the pattern, mm: left end (datum, arrow), joint side, right end, far side
# (rulers and words). The joint side stays short so that the strip can lie close to the joint.
_STRIP_MARGINS_MM = (14.0, 4.5, 8.0, 20.5)
# A lens board stays on its sheet; this much of it is free on A4 and on Letter.
_BOARD_MARGINS_MM = (8.0, 8.0, 8.0, 16.0)


@dataclass(frozen=True, kw_only=True)
class TargetLayout:
    """One printed target; the numbers of its markers begin at `first_id` of `dictionary`."""

    name: str
    strip_number: int
    columns: int
    rows: int
    pitch_mm: float
    marker_mm: float
    dictionary: str
    first_id: int
    thickness_mm: float = 0.1  # office paper of 80 g/m² with a film of paste or tape
    purpose: Literal["joint", "lens"] = "joint"

    @property
    def length_mm(self) -> float:
        """Length of the checker pattern along x."""
        return self.columns * self.pitch_mm

    @property
    def width_mm(self) -> float:
        """Width of the checker pattern along y."""
        return self.rows * self.pitch_mm

    @cached_property
    def squares(self) -> NDArray[np.bool_]:
        """(rows, columns), True where the square is black; row 0 lies along the joint side."""
        row, column = np.indices((self.rows, self.columns))
        return np.asarray((row + column) % 2 == 0)

    @cached_property
    def marker_squares(self) -> NDArray[np.int64]:
        """(M, 2) row and column of the white squares, in the order of their marker numbers."""
        return np.argwhere(~self.squares)

    @property
    def marker_count(self) -> int:
        """How many markers the target carries."""
        return len(self.marker_squares)

    @cached_property
    def marker_ids(self) -> NDArray[np.int32]:
        """(M,) marker numbers."""
        return np.arange(self.first_id, self.first_id + self.marker_count, dtype=np.int32)

    @cached_property
    def marker_corners_mm(self) -> NDArray[np.float64]:
        """(M, 4, 2) corners of the markers, clockwise from the upper left as the detector gives them."""
        half = self.marker_mm / 2
        ring = np.array([[-half, half], [half, half], [half, -half], [-half, -half]])
        centre = (self.marker_squares[:, ::-1] + 0.5) * self.pitch_mm * np.array([1.0, -1.0])
        return np.asarray(centre[:, None, :] + ring)

    @cached_property
    def saddles_mm(self) -> NDArray[np.float64]:
        """(N, 2) points where four squares meet, row by row from the joint side; index = saddle id."""
        y, x = np.mgrid[1 : self.rows, 1 : self.columns]
        return np.column_stack((x.ravel(), -y.ravel())) * self.pitch_mm

    @property
    def paper_box_mm(self) -> tuple[float, float, float, float]:
        """The cut strip: x of the left end, y of the far side, x of the right end, y of the joint side."""
        margins = _STRIP_MARGINS_MM if self.purpose == "joint" else _BOARD_MARGINS_MM
        left, joint, right, far = margins
        return (-left, -self.width_mm - far, self.length_mm + right, joint)

    @property
    def paper_outline_mm(self) -> NDArray[np.float64]:
        """(4, 2) corners of the cut strip, from the lower left, anticlockwise."""
        left, far, right, joint = self.paper_box_mm
        return np.array([[left, far], [right, far], [right, joint], [left, joint]])

    @cached_property
    def marker_bits(self) -> NDArray[np.bool_]:
        """(M, n + 2, n + 2) modules of every marker with its border, True = black."""
        book = _dictionary(self.dictionary)
        modules = int(book.markerSize) + 2
        pictures = [book.generateImageMarker(int(i), modules, borderBits=1) for i in self.marker_ids]
        return np.stack(pictures) < 128


@dataclass(frozen=True, kw_only=True)
class _Form:
    columns: int
    rows: int
    pitch_mm: float
    marker_mm: float
    dictionary: str
    strips: int
    purpose: Literal["joint", "lens"] = "joint"


# Long strips, short strips and the lens board take their numbers from different dictionaries, so that no
# two of them share a marker. Five by five bits keep the modules of the long strip's markers large
# (0.71 mm); 75 markers a strip leave room for 13 strips among its thousand numbers.
# An odd number of rows is drawn alike by all versions of the board library; an even one is not.
FORMS: dict[str, _Form] = {
    "strip-30x5": _Form(
        columns=30, rows=5, pitch_mm=7.0, marker_mm=5.0, dictionary="DICT_5X5_1000", strips=13
    ),
    "strip-8x5": _Form(columns=8, rows=5, pitch_mm=7.0, marker_mm=5.0, dictionary="DICT_6X6_1000", strips=50),
    "lens-board": _Form(
        columns=13,
        rows=9,
        pitch_mm=20.0,
        marker_mm=14.0,
        dictionary="DICT_7X7_1000",
        strips=1,
        purpose="lens",
    ),
}


@cache
def target_layout(strip_number: int, form: str = "strip-30x5") -> TargetLayout:
    """Give the layout of a strip by its printed number, or of the lens board (number 1).

    Raises UsageError for a form that does not exist or a number outside the set.
    """
    if form not in FORMS:
        raise UsageError(f"There is no target form {form!r}; the forms are {', '.join(FORMS)}.")
    shape = FORMS[form]
    if not 1 <= strip_number <= shape.strips:
        if shape.strips == 1:
            raise UsageError(f"Of form {form} there is number 1 only, not {strip_number}.")
        raise UsageError(f"Strip numbers of form {form} run from 1 to {shape.strips}, not {strip_number}.")
    markers = shape.columns * shape.rows // 2
    return TargetLayout(
        name=form,
        strip_number=strip_number,
        columns=shape.columns,
        rows=shape.rows,
        pitch_mm=shape.pitch_mm,
        marker_mm=shape.marker_mm,
        dictionary=shape.dictionary,
        first_id=(strip_number - 1) * markers,
        purpose=shape.purpose,
    )


@cache
def known_layouts() -> tuple[TargetLayout, ...]:
    """Every strip of every form that lies at a joint; the lens board is none of them."""
    return tuple(
        target_layout(k, form)
        for form, shape in FORMS.items()
        if shape.purpose == "joint"
        for k in range(1, shape.strips + 1)
    )


@cache
def _dictionary(name: str) -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
