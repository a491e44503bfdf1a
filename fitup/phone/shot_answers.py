"""A shot as the phone is told of it."""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException

from fitup.phone.people import Person
from fitup.phone.shop import Shop
from fitup.phone.shot import Shot

__all__ = ["shot_json", "shot_seen_by"]


def shot_json(shop: Shop, shot: Shot) -> dict[str, Any]:
    """Where a shot stands and what came of it."""
    position = shop.store.position(shot)
    size = shot.photo_px
    return {
        "id": shot.id,
        "version": shot.version,
        "state": shot.state,
        "stage": "waiting" if position > 1 else shot.stage,
        "position": position,
        "job": shot.job,
        "joint": shot.joint,
        "name": shot.name,
        "sent_at": shot.received_at_utc,
        "verdict": shot.verdict,
        "sentence": shot.sentence,
        "message": shot.sentence,
        "reason": shot.reason,
        "remedy": shot.remedy,
        "error": shot.error,
        "code": shot.code,
        "entry": shot.entry,
        "result_url": None if shot.entry is None else f"/r/{shot.entry}",
        "photo": None if size is None else {"width_px": size[0], "height_px": size[1]},
        "points": bool(shot.points),
        "may_be_tried_again": shot.may_be_tried_again,
    }


def shot_seen_by(shop: Shop, person: Person, shot_id: str) -> Shot:
    """The shot, for the phones that sent it and for quality control; HTTP 404 for all others."""
    shot = shop.store.get(shot_id) if len(shot_id) == 64 else None
    if shot is None or not (person.role == "qc" or shop.store.was_sent_by(shot, person.phone_id)):
        raise HTTPException(404, "there is no such photo here: it may have been sent from another phone.")
    return shot
