"""A record of any kind read back as a judged joint, with the digest of its bytes."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

import numpy as np

from fitup.errors import UsageError
from fitup.evidence.record import InspectionRecord, PhotoEntry, SpotEntry
from fitup.evidence.record_file import model_from_json, read_text, record_from_json
from fitup.evidence.seam_record import SEAM_SCHEMA_VERSION, SeamRecord
from fitup.evidence.sides_record import SIDES_SCHEMA_VERSION, SidesRecord
from fitup.evidence.writing import printable_name
from fitup.verdict.decision import DecisionRule, StationState
from fitup.verdict.judged import JudgedJoint
from fitup.verdict.lands import LandState
from fitup.verdict.result import SeenRule, Spot, VerdictWord
from fitup.verdict.spots import SpotRule

__all__ = ["AnyRecord", "JudgedRecord", "judged_joint", "photos_of", "read_judged"]

AnyRecord: TypeAlias = InspectionRecord | SeamRecord | SidesRecord

RECORD_NAME = "record.json"


@dataclass(frozen=True, kw_only=True, eq=False)
class JudgedRecord:
    """A record file: where it is, what its bytes are, and what they say."""

    path: Path
    sha256: str
    kind: str
    """photo, seam or sides."""
    record: AnyRecord
    joint: JudgedJoint

    @property
    def folder(self) -> Path:
        """Where the record lies, and all that is added to it later."""
        return self.path.parent

    @property
    def name(self) -> str:
        """The record's file with its folder, to be shown."""
        return printable_name(str(Path(self.folder.name) / self.path.name))


def read_judged(file: str) -> JudgedRecord:
    """Read the record file, or the record.json of a folder.

    Raises
    ------
    StorageError
        When it cannot be read, is damaged, or is of a version that is not known.
    UsageError
        When it is a file of another kind.
    """
    path = Path(file)
    path = path / RECORD_NAME if _is_folder(path) else path
    content, name = read_text(path), printable_name(path.name)
    kind = _kind(content)
    record: AnyRecord
    if kind == "seam":
        record = model_from_json(SeamRecord, SEAM_SCHEMA_VERSION, content, name)
    elif kind == "sides":
        record = model_from_json(SidesRecord, SIDES_SCHEMA_VERSION, content, name)
    elif kind == "photo":
        record = record_from_json(content, name)
    else:
        raise UsageError(f"{name} is a {kind}, not a record: give the record.json that it was made from.")
    return JudgedRecord(
        path=path,
        sha256=hashlib.sha256(content).hexdigest(),
        kind=kind,
        record=record,
        joint=judged_joint(record),
    )


def judged_joint(record: AnyRecord) -> JudgedJoint:
    """What a record says of the joint, null turned into NaN."""
    asked, verdict, stations = record.request, record.verdict, record.profile.stations
    return JudgedJoint(
        station_mm=np.array([at.station_mm for at in stations]),
        gap_mm=np.array([_number(at.gap_mm) for at in stations]),
        u_gap_mm=np.array([_number(at.u_gap_mm) for at in stations]),
        states=tuple(StationState(at.state) for at in stations),
        unseen_reason=tuple(at.unseen_reason for at in stations),
        step_mm=record.profile.step_mm,
        limit_mm=record.limit.limit_mm,
        word=VerdictWord(verdict.word),
        sentence=verdict.sentence,
        spots=tuple(_spot(spot) for spot in verdict.spots),
        decision=DecisionRule(
            conformance_probability=asked.decision.conformance_probability,
            simple_acceptance=asked.decision.simple_acceptance,
        ),
        spot_rule=SpotRule(**asked.spot_rule.model_dump()),
        seen_rule=SeenRule(**asked.seen_rule.model_dump()),
        part_only=asked.from_mm is not None or asked.to_mm is not None,
    )


def photos_of(record: AnyRecord) -> tuple[PhotoEntry, ...]:
    """The photo or photos that a record was made from."""
    if isinstance(record, InspectionRecord):
        return (record.photo,)
    return tuple(one.photo for one in record.photos)


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _kind(content: bytes) -> str:
    """What the bytes say that they are; "photo" also for no record at all, which its reader refuses."""
    try:
        data = json.loads(content)
    except (ValueError, RecursionError):
        return "photo"
    kind = data.get("kind", "photo") if isinstance(data, dict) else "photo"
    return kind if kind in ("seam", "sides", "settlement", "comparison") else "photo"


def _spot(spot: SpotEntry) -> Spot:
    return Spot(
        state=LandState.SHORT if spot.state == "short land" else StationState(spot.state),
        start_mm=spot.start_mm,
        end_mm=spot.end_mm,
        largest_gap_mm=_number(spot.largest_gap_mm),
        u_mm=_number(spot.u_largest_gap_mm),
        at_mm=_number(spot.at_mm),
        advice=spot.advice,
        side=spot.side,
        land_mm=_number(spot.land_mm),
    )


def _number(value: float | None) -> float:
    return math.nan if value is None else value
