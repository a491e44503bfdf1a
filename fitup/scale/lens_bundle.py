"""Least squares over lens, board and all poses together, the poses eliminated (Schur complement).

Each picture then is one small contribution to the normal equations of the common parameters: log focal
length, centre, focus, the lens's coefficients, and what the board may be, which is stretched (longer along
than across) and bowed in three ways.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from fitup.scale.lens import stretch
from fitup.scale.lens_model import LensModel

__all__ = [
    "BOARD",
    "FOCUS",
    "LensView",
    "Part",
    "Setting",
    "State",
    "focus_distances",
    "part_of",
    "reference_mm",
    "residual_of",
    "setting_of",
    "solve",
    "solved",
]

Array = NDArray[np.float64]

# What the board may be. Stretch: an unchecked print's. Bow: height at the ends of the board's diagonal over
# its middle, for a sheet on a plate, in three directions of bending.
_U_STRETCH, _U_BOW_MM = 0.007, 0.3
BOARD = ("stretch", "bow along", "bow across", "twist")
# Whether the lens moves as a whole for focus is not known: from not at all (0) to wholly (1).
FOCUS, _U_FOCUS = 0.5, 0.5
_U_COEFFICIENTS = 1.0  # keeps what no photo tells from running away
_ROUNDS = 30


@dataclass(frozen=True, kw_only=True, eq=False)
class LensView:
    """One picture of the board: points_mm (N, 2) on it, points_px (N, 2) in the picture as stored."""

    name: str
    points_mm: Array
    points_px: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class State:
    """Where the fit stands: lens, board (4,), rotations (V, 3, 3) and translations (V, 3) board to camera."""

    lens: LensModel
    focus: float
    board: Array
    rotations: Array
    translations: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Setting:
    """What stays fixed while a lens is fitted."""

    middle_mm: Array
    half_mm: float
    by_focus: Array
    prior: Array
    precision: Array


def setting_of(views: tuple[LensView, ...], state: State, focal_length_mm: float | None) -> Setting:
    """Distances of the pictures, which focus follows, and what is known beforehand."""
    everything = np.concatenate([view.points_mm for view in views])
    middle = (everything.min(0) + everything.max(0)) / 2
    distances = focus_distances(state, middle)
    reference = reference_mm(distances)
    return Setting(
        middle_mm=middle,
        half_mm=float(np.hypot(*np.ptp(everything, axis=0))) / 2,
        by_focus=np.asarray(stretch(distances, reference, focal_length_mm)),
        prior=np.array([0.0, 0, 0, FOCUS] + [0.0] * (len(state.lens.coefficients) + len(BOARD))),
        precision=np.array(
            [0.0, 0, 0, _U_FOCUS**-2]
            + [_U_COEFFICIENTS**-2] * len(state.lens.coefficients)
            + [_U_STRETCH**-2]
            + [_U_BOW_MM**-2] * 3
        ),
    )


def focus_distances(state: State, middle_mm: Array) -> Array:
    """(V,) distances of focus: where the middle of the frame meets the board's plane.

    Where that lies far beyond the board, the depth of the board's middle.
    """
    normal, shift = state.rotations[:, :, 2], state.translations
    ahead = np.where(np.abs(normal[:, 2]) > 0.2, normal[:, 2], np.inf)
    axis = (normal * shift).sum(1) / ahead
    middle = (state.rotations @ np.array([*middle_mm, 0.0]) + shift)[:, 2]
    return np.asarray(np.where((axis > 0.5 * middle) & (axis < 2.5 * middle), axis, middle))


def reference_mm(distances: Array) -> float:
    """Distance at which the focal length is given: by focus, the middle of all pictures."""
    return float(1 / np.mean(1 / distances))


def solve(views: tuple[LensView, ...], state: State, setting: Setting, sigma: float) -> State:
    """Gauss-Newton, with steps halved where the sum of squares would grow."""
    cost = _cost(views, state, setting, sigma)
    for _ in range(_ROUNDS):
        parts = [part_of(view, state, setting, k, sigma) for k, view in enumerate(views)]
        common, poses = _step(parts, state, setting)
        for size in 0.5 ** np.arange(10):
            moved = _moved(state, common * size, poses * size)
            after = np.inf if moved is None else _cost(views, moved, setting, sigma)
            if after <= cost:
                break
        if moved is None or not after < cost:
            return state
        gain, state, cost = cost - after, moved, after
        if gain < 1e-9 * cost:
            break
    return state


def _values(state: State) -> Array:
    """Common parameters that have a prior, in the order of the normal equations."""
    return np.array([0.0, 0, 0, state.focus, *state.lens.coefficients, *state.board])


def _cost(views: tuple[LensView, ...], state: State, setting: Setting, sigma: float) -> float:
    away = _values(state) - setting.prior
    misses = sum(float((residual_of(view, state, setting, k) ** 2).sum()) for k, view in enumerate(views))
    return misses / sigma**2 + float((setting.precision * away**2).sum())


def _seen(points_mm: Array, state: State, setting: Setting, k: int) -> tuple[Array, Array, Array, float]:
    """Points on the board in space (N, 3), turned (N, 3), seen over depth (N, 2), and the focal length."""
    space = _in_space(points_mm, state.board, setting)
    turned = space @ state.rotations[k].T
    camera = turned + state.translations[k]
    focal = state.lens.focal_px * float(np.exp(state.focus * setting.by_focus[k]))
    return turned, camera, camera[:, :2] / camera[:, 2:], focal


def _in_space(points_mm: Array, board: Array, setting: Setting) -> Array:
    half = np.array([np.exp(-board[0] / 2), np.exp(board[0] / 2)])
    return np.column_stack((points_mm * half, _heights(points_mm, setting) @ board[1:]))


def _heights(points_mm: Array, setting: Setting) -> Array:
    """(N, 3) height for a unit of each bow: along, across, twist; 1 at the ends of the diagonal."""
    u = (points_mm - setting.middle_mm) / setting.half_mm
    return np.column_stack((u[:, 0] ** 2, u[:, 1] ** 2, 2 * u[:, 0] * u[:, 1]))


def residual_of(view: LensView, state: State, setting: Setting, k: int) -> Array:
    """(N, 2) px of one picture, seen less expected."""
    _, _, x, focal = _seen(view.points_mm, state, setting, k)
    lens = state.lens.with_focal(focal)
    return view.points_px - lens.distort(np.array(lens.centre_px) + focal * x)


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """One picture's share: normal matrix and pull of the common parameters, its pose eliminated."""

    normal: Array
    pull: Array
    pose_normal: Array
    pose_pull: Array
    mixed: Array
    design: Array
    design_pose: Array
    residual: Array


def part_of(view: LensView, state: State, setting: Setting, k: int, sigma: float) -> Part:
    """Contribution of picture k, with residuals in units of sigma."""
    common, pose, residual = _design(view, state, setting, k)
    common, pose, residual = common / sigma, pose / sigma, residual / sigma
    pose_normal = pose.T @ pose
    mixed = pose.T @ common
    pose_pull = pose.T @ residual
    inner = np.linalg.solve(pose_normal, np.column_stack((mixed, pose_pull)))
    return Part(
        normal=common.T @ common - mixed.T @ inner[:, :-1],
        pull=common.T @ residual - mixed.T @ inner[:, -1],
        pose_normal=pose_normal,
        pose_pull=pose_pull,
        mixed=mixed,
        design=common,
        design_pose=pose,
        residual=residual,
    )


def _design(view: LensView, state: State, setting: Setting, k: int) -> tuple[Array, Array, Array]:
    """Derivatives (2N, P) by the common parameters and (2N, 6) by turn and shift, and the residual (2N,)."""
    turned, camera, x, focal = _seen(view.points_mm, state, setting, k)
    lens = state.lens.with_focal(focal)
    centre = np.array(lens.centre_px)
    ideal = centre + focal * x
    real, slope = lens.distort(ideal), lens.slope(ideal)
    arm = real - centre
    depth = camera[:, 2, None, None]
    flat = np.concatenate((np.tile(np.eye(2), (len(x), 1, 1)), -x[:, :, None]), axis=2) / depth
    by_place = focal * slope @ flat
    cross = np.zeros((len(x), 3, 3))
    for axis in range(3):
        cross[:, :, axis] = np.cross(np.eye(3)[axis], turned)
    pose = np.concatenate((by_place @ cross, by_place), axis=2)
    stretched = view.points_mm * np.array([np.exp(-state.board[0] / 2), np.exp(state.board[0] / 2)])
    by_board = np.zeros((len(x), 3, len(BOARD)))
    by_board[:, 0, 0], by_board[:, 1, 0] = -stretched[:, 0] / 2, stretched[:, 1] / 2
    by_board[:, 2, 1:] = _heights(view.points_mm, setting)
    common = np.concatenate(
        (
            arm[:, :, None],
            np.tile(np.eye(2), (len(x), 1, 1)),
            setting.by_focus[k] * arm[:, :, None],
            np.moveaxis(lens.coefficient_shifts(ideal), 0, -1),
            by_place @ state.rotations[k] @ by_board,
        ),
        axis=2,
    )
    size = 2 * len(x)
    return common.reshape(size, -1), pose.reshape(size, 6), (view.points_px - real).ravel()


def _step(parts: list[Part], state: State, setting: Setting) -> tuple[Array, Array]:
    normal = np.sum([part.normal for part in parts], axis=0) + np.diag(setting.precision)
    pull = np.sum([part.pull for part in parts], axis=0)
    pull = pull + setting.precision * (setting.prior - _values(state))
    common = solved(normal, pull)
    poses = [np.linalg.solve(part.pose_normal, part.pose_pull - part.mixed @ common) for part in parts]
    return common, np.array(poses)


def solved(normal: Array, pull: Array) -> Array:
    """Solution of normal equations whose parameters have units of different size."""
    even = 1 / np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled = normal * even[:, None] * even + 1e-13 * np.eye(len(normal))
    answer = np.linalg.solve(scaled, pull * even if pull.ndim == 1 else pull * even[:, None])
    return np.asarray(answer * even if pull.ndim == 1 else answer * even[:, None])


def _moved(state: State, common: Array, poses: Array) -> State | None:
    lens = state.lens
    count = len(lens.coefficients)
    turns = np.stack([cv2.Rodrigues(np.ascontiguousarray(pose[:3]))[0] for pose in poses])
    try:
        lens = replace(
            lens,
            focal_px=lens.focal_px * float(np.exp(np.clip(common[0], -0.5, 0.5))),
            centre_px=(lens.centre_px[0] + float(common[1]), lens.centre_px[1] + float(common[2])),
            coefficients=tuple(float(c) for c in np.array(lens.coefficients) + common[4 : 4 + count]),
        )
    except ValueError:
        return None
    return State(
        lens=lens,
        focus=state.focus + float(common[3]),
        board=state.board + common[4 + count :],
        rotations=turns @ state.rotations,
        translations=state.translations + poses[:, 3:],
    )
