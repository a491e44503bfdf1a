"""Where the joint runs, the straightened band along it, the camera's response, and both arrises."""

from __future__ import annotations

from fitup.edges.arrises import Arrises, find_arrises
from fitup.edges.band import Band, straighten
from fitup.edges.joint_line import JointLine, find_joint, line_along
from fitup.edges.response import CameraResponse, estimate_response

__all__ = [
    "Arrises",
    "Band",
    "CameraResponse",
    "JointLine",
    "estimate_response",
    "find_arrises",
    "find_joint",
    "line_along",
    "straighten",
]
