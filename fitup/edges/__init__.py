"""Where the joint runs, the straightened band along it, the camera's response, and both arrises."""

from __future__ import annotations

from fitup.edges.arrises import find_arrises
from fitup.edges.arrises_result import Arrises
from fitup.edges.band import Band, straighten
from fitup.edges.joint_line import JointLine, find_joint, line_along
from fitup.edges.lands import Lands, find_lands
from fitup.edges.opening_line import lay_opening
from fitup.edges.photo_response import read_response
from fitup.edges.response import CameraResponse, estimate_response
from fitup.edges.section import Section, section_of

__all__ = [
    "Arrises",
    "Band",
    "CameraResponse",
    "JointLine",
    "Lands",
    "Section",
    "estimate_response",
    "find_arrises",
    "find_joint",
    "find_lands",
    "lay_opening",
    "line_along",
    "read_response",
    "section_of",
    "straighten",
]
