"""Both arrises of a joint at every station, as every way of finding them gives them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitup.edges.arris import ArrisFit
from fitup.edges.band import Band
from fitup.edges.section import Section

__all__ = ["Arrises"]

Array64 = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrises:
    """Both arrises of N stations in the joint frame [mm] with what the fit says of itself.

    `misfit_mm` (N, 2) is what the fitted edges leave unexplained around either arris, pooled over neighbours
    so that noise does not count, divided by the edge's slope. `glint_mm` (N, 2) is how far a bright rim
    displaces near and far arris into the gap; as much is in `misfit_mm`. `face_far` (N,): True where the far
    plate's cut face is the visible one. `lit` (N,): the floor is brighter than the plates. `contrast` (N,):
    dip of the fitted profile as a share of the plate. `blur_px` is the pooled blur, `fit` the raw result in
    px. `u_base_mm` (N,) is the uncertainty of where a base lies that bounds the gap without an arris; None
    between arrises.
    """

    band: Band
    near_mm: Array64
    far_mm: Array64
    gap_mm: Array64
    variance_parts_mm2: dict[str, Array64]
    fit: ArrisFit
    misfit_mm: Array64  # (N, 2) displacement that would explain the shape misfit at near and far arris
    glint_mm: Array64
    section: Section
    face_far: NDArray[np.bool_]
    lit: NDArray[np.bool_]
    contrast: Array64
    blur_px: float
    u_base_mm: Array64 | None = None

    @property
    def lit_behind(self) -> NDArray[np.bool_]:
        """(N,) True where light through the opening hides where a base lies."""
        return self.lit if self.u_base_mm is not None else np.zeros_like(self.lit)

    @property
    def tangent(self) -> Array64:
        """(N,) tangent of the view angle across, positive where the camera stands beyond the gap."""
        return self.section.tangent

    @property
    def sheet_mm(self) -> float | None:
        """Thickness of the plates, if it was given."""
        return self.section.sheet_mm
