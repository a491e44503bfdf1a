"""The served joints and their labels, and the archive as quality control looks at it."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, JSONResponse, Response

from fitup.phone.office_work import make_labels
from fitup.phone.people import Person
from fitup.phone.pictures import CACHED
from fitup.phone.rights import role, signed_in
from fitup.phone.searching import Asked, found_entries
from fitup.phone.shop import shop_of

__all__ = ["archive_routes"]

archive_routes = APIRouter(prefix="/api", tags=["archive"])
SignedIn = Annotated[Person, Depends(signed_in)]
Quality = Annotated[Person, Depends(role("qc"))]


@archive_routes.get("/joints")
def joints(request: Request, person: SignedIn) -> dict[str, Any]:
    """All joints that are served, with the verdict in force."""
    return {"jobs": shop_of(request).board.jobs()}


@archive_routes.get("/search")
def search(request: Request, person: Quality, asked: Annotated[Asked, Query()]) -> dict[str, Any]:
    """Entries of the archive, the newest first."""
    return found_entries(shop_of(request).archive, asked)


@archive_routes.post("/verify", status_code=202)
def begin_verifying(request: Request, person: Quality) -> JSONResponse:
    """Read the whole archive again, in the background; 200 where that is being done already."""
    verification = shop_of(request).verification
    begun = verification.start()
    return JSONResponse({"state": verification.as_json()}, 202 if begun else 200)


@archive_routes.get("/verify")
def verifying(request: Request, person: Quality) -> dict[str, Any]:
    """How far verifying is, and what was found."""
    return {"state": shop_of(request).verification.as_json()}


@archive_routes.get("/labels.pdf", response_class=FileResponse)
def labels(
    request: Request,
    person: Quality,
    job: Annotated[str, Query(max_length=500)] = "",
    paper: Literal["A4", "Letter"] = "A4",
) -> Response:
    """QR labels of a job's joints as a sheet to print."""
    shop = shop_of(request)
    served = shop.settings.job(job)
    base = shop.settings.address or str(request.base_url)
    told = hashlib.sha256(f"{served.job.sha256} {base}".encode()).hexdigest()
    made = shop.office.made(f"labels/{told[:32]}-{paper}.pdf", make_labels, served.job, base, paper)
    return FileResponse(made, media_type="application/pdf", filename="labels.pdf")


@archive_routes.get("/samples")
def samples(request: Request, person: SignedIn) -> dict[str, Any]:
    """Photos that the page offers instead of the camera, where this is a trial."""
    found = shop_of(request).settings.samples
    return {
        "samples": [
            {"name": path.name, "url": f"/api/samples/{number}"} for number, path in enumerate(found, start=1)
        ]
    }


@archive_routes.get("/samples/{number}", response_class=FileResponse)
def sample(request: Request, person: SignedIn, number: Annotated[int, Path(ge=1, le=10_000)]) -> Response:
    """One of them, as a phone would have it."""
    found = shop_of(request).settings.samples
    if number > len(found):
        raise HTTPException(404, "there is no such photo to try.")
    path = found[number - 1]
    return FileResponse(path, filename=path.name, content_disposition_type="inline", headers=CACHED)
