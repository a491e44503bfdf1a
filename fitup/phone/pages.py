"""The pages: each gathers what its template shows, and leaves words, language and units to it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from fitup.errors import UsageError
from fitup.phone.board import joint_facts
from fitup.phone.entry_routes import EntryNumber, is_current, result_seen_by
from fitup.phone.page_context import page
from fitup.phone.page_data import joint_page, settled_of
from fitup.phone.people import Person
from fitup.phone.qc_data import entry_page, lenses_page
from fitup.phone.rights import role, signed_in
from fitup.phone.searching import Asked, found_entries
from fitup.phone.shop import Shop, shop_of
from fitup.phone.shot_answers import shot_json, shot_seen_by

__all__ = ["pages"]

pages = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)
SignedIn = Annotated[Person, Depends(signed_in)]
Quality = Annotated[Person, Depends(role("qc"))]


@pages.get("/")
def joints(request: Request, person: SignedIn) -> Response:
    """All joints."""
    return page(request, "joints.html", jobs=shop_of(request).board.jobs())


@pages.get("/j/{joint:path}")
def joint(
    request: Request,
    person: SignedIn,
    joint: Annotated[str, Path(max_length=500)],
    job: Annotated[str, Query(max_length=500)] = "",
) -> Response:
    """One joint, which its QR label opens too."""
    shop = shop_of(request)
    try:
        served, listed = shop.settings.find(job, joint)
    except UsageError as error:
        raise HTTPException(404, str(error)) from None
    return page(
        request,
        "joint.html",
        job=served.name,
        joint=joint_facts(served, listed),
        samples=_samples(shop),
        **joint_page(shop, person, served, listed),
    )


@pages.get("/r/{entry}")
def result(request: Request, person: SignedIn, entry: EntryNumber) -> Response:
    """One result: photo, profile, spots."""
    shop = shop_of(request)
    found = result_seen_by(shop, person, entry)
    settlements = shop.result(entry, len(found.later))
    shot = shop.store.of_entry(entry)
    mine = shot is not None and (person.role == "qc" or shop.store.was_sent_by(shot, person.phone_id))
    return page(
        request,
        "result.html",
        job=_job_name(shop, found.about.job, found.about.joint),
        joint=found.about.joint,
        entry=entry,
        record=settlements.judged.record,
        settled=settled_of(settlements),
        files=[one.role for one in found.stored.entry.files],
        newest=is_current(shop, found),
        shot=shot.id if shot is not None and mine else None,
    )


@pages.get("/s/{wanted}")
def shot(request: Request, person: SignedIn, wanted: str) -> Response:
    """A photo that is on its way, or that gave no result; its result once it has one."""
    shop = shop_of(request)
    found = shot_seen_by(shop, person, wanted)
    if found.entry is not None:
        return RedirectResponse(f"/r/{found.entry}", 303)
    return page(request, "shot.html", shot=shot_json(shop, found), samples=_samples(shop))


@pages.get("/qc")
def archive(request: Request, person: Quality, asked: Annotated[Asked, Query()]) -> Response:
    """The archive searched."""
    return page(request, "qc.html", **found_entries(shop_of(request).archive, asked))


@pages.get("/qc/verify")
def verification(request: Request, person: Quality) -> Response:
    """Whether the archive is as it was."""
    shop = shop_of(request)
    head = shop.archive.head()
    return page(
        request,
        "qc_verify.html",
        state=shop.verification.as_json(),
        head=None if head is None else {"number": head.entry.number, "digest": head.digest},
    )


@pages.get("/qc/lenses")
def lenses(request: Request, person: Quality) -> Response:
    """Lens profiles and print checks that are in use here."""
    return page(request, "qc_lenses.html", **lenses_page(shop_of(request).settings))


@pages.get("/qc/{entry}")
def record(request: Request, person: Quality, entry: EntryNumber) -> Response:
    """All that the archive has of one entry."""
    return page(request, "qc_entry.html", **entry_page(shop_of(request), entry))


def _samples(shop: Shop) -> list[dict[str, Any]]:
    found = shop.settings.samples
    return [
        {"name": path.name, "url": f"/api/samples/{number}"} for number, path in enumerate(found, start=1)
    ]


def _job_name(shop: Shop, job: str, joint: str) -> str:
    """The job as it is served, whose page the joint has; else as it is filed."""
    try:
        return shop.settings.find(job, joint)[0].name
    except UsageError:
        return job
