"""From a joint of several photos to its record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitup.evidence import record as entry
from fitup.evidence import seam_record as seam_entry
from fitup.evidence.building import (
    cautions_of,
    filing_entry,
    joint_entry,
    limit_entry,
    photo_entry,
    profile_entry,
    program_entry,
    request_entry,
    response_entry,
    scale_entry,
    verdict_entry,
)
from fitup.evidence.seam_subject import FaultOfPhoto, PhotoShare, SeamSubject, Stretch
from fitup.evidence.several import values_of
from fitup.evidence.subject import Filing
from fitup.evidence.words import from_to
from fitup.evidence.writing import printable_name

if TYPE_CHECKING:
    from fitup.verdict import JointVerdict

__all__ = ["build_seam_record"]


def build_seam_record(seam: SeamSubject, filing: Filing) -> seam_entry.SeamRecord:
    """Everything that was measured, asked and decided, as one frozen record."""
    photos = tuple(_photo(share) for share in seam.photos)
    return seam_entry.SeamRecord(
        schema_version=2,
        kind="seam",
        program=program_entry(),
        filing=filing_entry(filing),
        request=request_entry(seam.settings, seam.verdict),
        named_strips=seam.named_strips,
        limit=limit_entry(seam.limit),
        print_check=photos[0].scale.print_check,
        print_check_sentence=photos[0].scale.print_check_sentence,
        photos=photos,
        faults=tuple(_fault(one) for one in seam.faults),
        chain=_chain(seam),
        overlaps=_overlaps(seam),
        profile=_profile(seam),
        holes=tuple(_hole(hole) for hole in seam.holes),
        verdict=_verdict(seam),
        notes=tuple(printable_name(note) for note in seam.notes),
        cautions=cautions_of(seam.settings),
    )


def _photo(share: PhotoShare) -> seam_entry.SeamPhotoEntry:
    subject, half = share.subject, share.subject.profile.step_mm / 2
    return seam_entry.SeamPhotoEntry(
        photo=photo_entry(subject.photo, subject.scale.sighting.choice.notes),
        strips=share.strips,
        start_mm=float(subject.profile.station_mm[0]) - half,
        end_mm=float(subject.profile.station_mm[-1]) + half,
        scale=scale_entry(subject.scale, subject.profile),
        joint=joint_entry(subject),
        camera_response=response_entry(subject.response),
    )


def _fault(one: FaultOfPhoto) -> seam_entry.FaultEntry:
    return seam_entry.FaultEntry(
        name=printable_name(one.name),
        strips=one.strips,
        reason=getattr(one.fault, "reason", None),
        error=printable_name(str(one.fault)),
    )


def _chain(seam: SeamSubject) -> seam_entry.ChainEntry:
    chain = seam.chain
    strips = zip(chain.numbers, chain.place_mm, chain.u_mm, (*chain.touching, False), strict=True)
    return seam_entry.ChainEntry(
        form=seam.layout.name,
        paper_pitch_mm=chain.pitch_mm,
        strips=tuple(
            seam_entry.StripEntry(
                strip_number=number, place_mm=float(place), u_place_mm=float(u), touches_next=touches
            )
            for number, place, u, touches in strips
        ),
        links=tuple(
            seam_entry.LinkEntry(
                photo=printable_name(link.photo),
                first=link.first,
                second=link.second,
                offset_mm=link.offset_mm,
                u_offset_mm=link.u_mm,
                residual_mm=residual,
            )
            for link, residual in zip(chain.links, chain.residual_mm, strict=True)
        ),
    )


def _overlaps(seam: SeamSubject) -> tuple[seam_entry.OverlapEntry, ...]:
    return tuple(
        seam_entry.OverlapEntry(
            first=overlap.first,
            second=overlap.second,
            start_mm=overlap.start_mm,
            end_mm=overlap.end_mm,
            stations=overlap.stations,
            mean_difference_mm=overlap.mean_difference_mm,
            u_mean_difference_mm=overlap.u_mean_difference_mm,
            chi_square=overlap.chi_square,
            degrees_of_freedom=overlap.blocks,
        )
        for overlap in seam.joined.overlaps
    )


def _profile(seam: SeamSubject) -> seam_entry.SeamProfileEntry:
    plain = profile_entry(seam.profile, seam.verdict)
    stations = seam.joined.stations
    return seam_entry.SeamProfileEntry(
        step_mm=plain.step_mm,
        stations=tuple(
            seam_entry.SeamStationEntry(
                **values_of(station),
                strip_number=int(stations.strip_number[index]),
                on_strip_mm=float(stations.on_strip_mm[index]),
                u_station_mm=float(stations.u_station_mm[index]),
                photos=_photos_of(seam, index),
            )
            for index, station in enumerate(plain.stations)
        ),
        budget=plain.budget,
        notes=plain.notes,
    )


def _photos_of(seam: SeamSubject, index: int) -> tuple[int, ...]:
    """Photos that show a station, the one that weighs most first."""
    lead = int(seam.joined.leading[index])
    others = (int(k) for k in np.flatnonzero(seam.joined.shown[:, index]) if k != lead)
    return () if lead < 0 else (lead, *others)


def _verdict(seam: SeamSubject) -> seam_entry.SeamVerdictEntry:
    verdict: JointVerdict = seam.verdict
    plain = verdict_entry(verdict)
    spots = tuple(_spot(seam, spot) for spot in plain.spots)
    return seam_entry.SeamVerdictEntry(**{**values_of(plain), "spots": spots})


def _spot(seam: SeamSubject, spot: entry.SpotEntry) -> seam_entry.SeamSpotEntry:
    stations, half = seam.joined.stations, seam.profile.step_mm / 2
    inside = np.flatnonzero((stations.station_mm > spot.start_mm) & (stations.station_mm < spot.end_mm))
    first, last = int(inside[0]), int(inside[-1])
    showing = np.flatnonzero(seam.joined.shown[:, inside].any(axis=1))
    return seam_entry.SeamSpotEntry(
        **values_of(spot),
        start_strip=int(stations.strip_number[first]),
        start_on_strip_mm=float(stations.on_strip_mm[first]) - half,
        end_strip=int(stations.strip_number[last]),
        end_on_strip_mm=float(stations.on_strip_mm[last]) + half,
        photos=tuple(int(index) for index in showing),
    )


def _hole(hole: Stretch) -> seam_entry.HoleEntry:
    return seam_entry.HoleEntry(
        start_mm=hole.start_mm,
        end_mm=hole.end_mm,
        advice=f"photograph the stretch {from_to(hole.start_mm, hole.end_mm)}",
        meant=tuple(printable_name(text) for text in hole.meant),
    )
