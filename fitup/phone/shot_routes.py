"""Photos come in, and their senders hear how far they are."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import unquote

from anyio.to_thread import run_sync
from fastapi import APIRouter, Depends, Header, Query, Request
from pydantic import BaseModel, Field, FiniteFloat, TypeAdapter, ValidationError
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, JSONResponse, Response

from fitup.errors import StorageError, UsageError
from fitup.phone.intake import photo_name, receive
from fitup.phone.people import Person
from fitup.phone.pictures import CACHED
from fitup.phone.rights import signed_in
from fitup.phone.shop import Shop, shop_of
from fitup.phone.shot import Points, Shot, shot_id
from fitup.phone.shot_answers import shot_json, shot_seen_by

__all__ = ["shot_routes"]

_PointList = Annotated[
    list[
        tuple[Annotated[FiniteFloat, Field(ge=-1e6, le=1e6)], Annotated[FiniteFloat, Field(ge=-1e6, le=1e6)]]
    ],
    Field(min_length=2, max_length=100),
]
_POINTS: TypeAdapter[list[tuple[float, float]]] = TypeAdapter(_PointList)
_LONGEST_WAIT_S = 25.0
_LOOK_UP_S = 5.0
_FULL = 507  # Insufficient Storage (RFC 4918)
_Name = Annotated[str, Header(max_length=1000)]

shot_routes = APIRouter(prefix="/api/shots", tags=["shots"])
SignedIn = Annotated[Person, Depends(signed_in)]


class TappedPoints(BaseModel):
    """Places on the joint that a person tapped [px of the upright photo]."""

    points: _PointList


@shot_routes.post(
    "",
    status_code=202,
    responses={200: {"description": "It is known already."}},
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def send(
    request: Request,
    person: SignedIn,
    x_fitup_digest: Annotated[str, Header(pattern="^[0-9a-fA-F]{64}$")],
    x_fitup_joint: _Name,
    x_fitup_job: _Name = "",
    x_fitup_name: _Name = "photo.jpg",
    x_fitup_points: Annotated[str, Header(max_length=10_000)] = "",
) -> Response:
    """Take a photo of a joint: its bytes as the body. Answered only when it is safely on the disk.

    Header texts are percent-encoded. What was sent before for the same joint is known, and not taken twice.
    """
    shop = shop_of(request)
    served, joint = shop.settings.find(unquote(x_fitup_job), unquote(x_fitup_joint))
    points = _points(x_fitup_points)
    name = photo_name(x_fitup_name)
    try:
        arrived = await receive(
            request.stream(),
            shop.store.new_file(),
            most_bytes=shop.settings.photo_bytes_max,
            digest=x_fitup_digest,
        )
        try:
            shot = _shot(person, arrived.digest, served.name, joint.name, name, points)
            there, fresh = await run_sync(shop.store.add, shot, arrived.path)
        finally:
            arrived.discard()
    except StorageError as error:
        raise HTTPException(_FULL, str(error)) from None
    if fresh:
        shop.pool.wake()
    return JSONResponse(await run_sync(shot_json, shop, there), 202 if fresh else 200)


@shot_routes.get("")
def sent_shots(
    request: Request,
    person: SignedIn,
    open_only: Annotated[bool, Query(alias="open")] = False,
    job: Annotated[str, Query(max_length=500)] = "",
    joint: Annotated[str, Query(max_length=500)] = "",
) -> dict[str, list[dict[str, Any]]]:
    """Photos that this phone has sent, the newest first."""
    shop = shop_of(request)
    shots = [
        one
        for one in shop.store.of_phone(person.phone_id)
        if (one.is_open or not open_only) and job in ("", one.job) and joint in ("", one.joint)
    ]
    return {"shots": [shot_json(shop, one) for one in shots]}


@shot_routes.get("/{wanted}")
async def follow(
    request: Request,
    person: SignedIn,
    wanted: str,
    wait: Annotated[float, Query(ge=0, le=_LONGEST_WAIT_S)] = 0.0,
    seen: Annotated[int, Query(ge=0, le=2**53)] = 0,
) -> dict[str, Any]:
    """Where a photo stands; with `wait` [s], once that is otherwise than the version `seen`."""
    shop = shop_of(request)
    shot = await run_sync(shot_seen_by, shop, person, wanted)
    end = time.monotonic() + wait
    while shot.version == seen and shot.is_open and time.monotonic() < end:
        with shop.progress.news(shot.id) as news:
            shot = await run_sync(shot_seen_by, shop, person, wanted)  # it may just have changed
            if shot.version == seen:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(news.wait(), min(_LOOK_UP_S, end - time.monotonic()))
        if await request.is_disconnected():
            break
        shot = await run_sync(shot_seen_by, shop, person, wanted)
    return await run_sync(shot_json, shop, shot)


@shot_routes.post("/{wanted}/points", status_code=202)
def measure_again(request: Request, person: SignedIn, wanted: str, tapped: TappedPoints) -> dict[str, Any]:
    """Measure a photo again along the places that were tapped; a new shot."""
    shop = shop_of(request)
    shot = shot_seen_by(shop, person, wanted)
    points = tuple((float(u), float(v)) for u, v in tapped.points)
    again = _shot(person, shot.digest, shot.job, shot.joint, shot.name, points)
    there, fresh = shop.store.add(again, _from_archive(shop, shot))
    if fresh:
        shop.pool.wake()
    return shot_json(shop, there)


@shot_routes.post("/{wanted}/again", status_code=202)
def try_again(request: Request, person: SignedIn, wanted: str) -> dict[str, Any]:
    """Measure a photo again that failed by no fault of its own; the phone need not have it any more."""
    shop = shop_of(request)
    shot = shop.store.again(shot_seen_by(shop, person, wanted).id)
    if not shot.is_open:
        raise UsageError("this photo gives the same once more: take another one.")
    shop.pool.wake()
    return shot_json(shop, shot)


@shot_routes.get("/{wanted}/picture.jpg", response_class=FileResponse)
def picture(
    request: Request,
    person: SignedIn,
    wanted: str,
    most: Annotated[int, Query(ge=1, le=10_000)] = 1600,
    box: Annotated[str, Query(max_length=60)] = "",
) -> Response:
    """The upright photo as a JPEG of at most `most` px, or its part left,top,right,bottom."""
    shop = shop_of(request)
    shot = shot_seen_by(shop, person, wanted)
    if shot.photo_px is None:
        raise HTTPException(404, "this photo cannot be shown: it was not opened yet, or is none.")
    made = shop.picture(shot.digest, most, box, shop.store.photo(shot.digest))
    return FileResponse(made, media_type="image/jpeg", headers=CACHED)


def _shot(person: Person, digest: str, job: str, joint: str, name: str, points: Points) -> Shot:
    return Shot(
        id=shot_id(digest, job, joint, points),
        digest=digest,
        job=job,
        joint=joint,
        name=name,
        who=person.name,
        phone_id=person.phone_id,
        received_at_utc=datetime.now(UTC).isoformat(timespec="seconds"),
        points=points,
    )


def _from_archive(shop: Shop, shot: Shot) -> Path | None:
    """The photo once more where only the archive has it; None where it lies in its place."""
    if shop.store.photo(shot.digest).is_file():
        return None
    content, path = shop.archive.store.read(shot.digest), shop.store.new_file()
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return path


def _points(written: str) -> Points:
    """Points in a header, as JSON; UsageError when it is none."""
    if not written:
        return ()
    try:
        return tuple(_POINTS.validate_python(json.loads(written)))
    except (ValueError, RecursionError, ValidationError):
        raise UsageError("the tapped places cannot be used: tap the joint's two ends again.") from None
