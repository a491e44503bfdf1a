"""How well the slant of a view is known."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitup.scale.saddles import project
from fitup.scale.scale_map import ScaleMap

__all__ = ["u_view_tangents"]

_PARAMETERS = [0, 1, 2, 6, 7, 8]  # of the map's covariance: turns, log focal length, principal point


def u_view_tangents(scale: ScaleMap, points_mm: ArrayLike, towards: ArrayLike) -> NDArray[np.float64]:
    """(N,) standard uncertainty of the view angle's tangent along directions (N, 2) at points (N, 2).

    A ray c of the camera has the direction c R in the target's frame, so that its slope follows turns of the
    camera, focal length and principal point. A print that may be longer along than across, or a camera of
    unknown focal length, leaves degrees of tilt open.
    """
    ideal = project(scale.homography, np.asarray(points_mm, dtype=np.float64))
    focal, centre = scale.camera_matrix[0, 0], scale.camera_matrix[:2, 2]
    ray = np.column_stack([(ideal - centre) / focal, np.ones(len(ideal))])
    unit, axes = np.eye(3), scale.rotation @ scale.frame.axes
    turns = [np.cross(ray, unit[k]) for k in range(3)]
    shifts = [np.broadcast_to(-unit[k] / focal, ray.shape) for k in range(2)]
    direction = ray @ axes
    change = np.stack([*turns, ray * [-1, -1, 0], *shifts]) @ axes
    slope = (direction[:, :2] * change[..., 2:] / direction[:, 2:] - change[..., :2]) / direction[:, 2:]
    along = (slope * np.asarray(towards)).sum(axis=-1)
    covariance = scale.parameter_covariance[np.ix_(_PARAMETERS, _PARAMETERS)]
    return np.asarray(np.sqrt(np.einsum("pn,pq,qn->n", along, covariance, along)))
