"""One photo sent for one joint: what it is, where it stands, and what came of it."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from typing import Any

from fitup.errors import ExitCode

__all__ = ["OPEN_STATES", "Points", "Shot", "shot_id"]

OPEN_STATES = ("queued", "measuring")
Points = tuple[tuple[float, float], ...]


def shot_id(digest: str, job: str, joint: str, points: Points = ()) -> str:
    """The same for the same bytes sent for the same joint: what is sent twice is one shot."""
    told = json.dumps([digest, job, joint, [list(point) for point in points]], separators=(",", ":"))
    return hashlib.sha256(told.encode("utf-8")).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Shot:
    """A photo on its way, or arrived.

    `digest` is the SHA-256 of its bytes; `points` are image points on the joint [px of the upright photo],
    () where the program looks for it. `received_at_utc` (ISO 8601) is also when its record is filed, so that
    a photo measured twice gives the same record bit for bit. `state` is queued, measuring, done or failed.
    `entry` is what the archive has of it. `error` is the sentence of a failed one and `code` its exit code: 5
    for a photo that cannot be measured, `reason` and `remedy` say then what to do.
    """

    id: str
    digest: str
    job: str
    joint: str
    name: str
    who: str
    phone_id: str
    received_at_utc: str
    points: Points = ()
    state: str = "queued"
    stage: str = "received"
    verdict: str = ""
    sentence: str = ""
    reason: str = ""
    remedy: str = ""
    error: str = ""
    code: int = 0
    entry: int | None = None
    photo_px: tuple[int, int] | None = None
    attempts: int = 0
    version: int = 1
    number: int = field(default=0, compare=False)

    @property
    def is_open(self) -> bool:
        """Whether it is still to be measured."""
        return self.state in OPEN_STATES

    @property
    def may_be_tried_again(self) -> bool:
        """Whether sending it again may help: the same photo shows the same joint the same way."""
        return self.state == "failed" and self.code == ExitCode.STORAGE

    def as_json(self) -> dict[str, Any]:
        """What the store keeps beside the columns it searches by."""
        hidden = ("number", "id", "state", "phone_id", "digest")
        return {name: value for name, value in vars(self).items() if name not in hidden}
