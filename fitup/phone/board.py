"""The joints that are served, each with where it stands; read anew only when the archive has grown."""

from __future__ import annotations

import threading
from typing import Any
from urllib.parse import quote, urlencode

from fitup.evidence.archive.archive import Archive
from fitup.inspection import limit_of
from fitup.job import JobJoint, joint_key
from fitup.phone.joint_state import JointResult, joint_results
from fitup.phone.phone_settings import PhoneSettings, ServedJob
from fitup.phone.shot_store import ShotStore

__all__ = ["Board", "joint_facts", "joint_url"]


class Board:
    """What the list of joints shows."""

    def __init__(self, settings: PhoneSettings, archive: Archive, store: ShotStore) -> None:
        self._settings, self._archive, self._store = settings, archive, store
        self._lock = threading.Lock()
        self._head = ""
        self._results: dict[tuple[str, str], list[JointResult]] = {}

    def jobs(self) -> list[dict[str, Any]]:
        """Every job with its joints: the result in force, and how many photos are on their way."""
        waiting: dict[tuple[str, str], int] = {}
        for shot in self._store.open_shots():
            key = _key(shot.job, shot.joint)
            waiting[key] = waiting.get(key, 0) + 1
        return [
            {
                "job": served.name,
                "part": served.job.part,
                "description": served.job.description,
                "joints": [self._line(served, one, waiting) for one in served.job.joints],
            }
            for served in self._settings.jobs
        ]

    def results(self, served: ServedJob, joint: JobJoint) -> list[JointResult]:
        """Results of a joint, the newest first."""
        head = self._archive.head()
        digest = "" if head is None else head.digest
        key = _key(served.name, joint.name)
        with self._lock:
            if digest != self._head:
                self._head, self._results = digest, {}
            if key in self._results:
                return self._results[key]
        results = joint_results(self._archive, served.job.job, joint.name)
        with self._lock:
            if digest == self._head:
                self._results[key] = results
        return results

    def _line(
        self, served: ServedJob, joint: JobJoint, waiting: dict[tuple[str, str], int]
    ) -> dict[str, Any]:
        results = self.results(served, joint)
        nothing = {"entry": None, "verdict": None, "when": None, "who": "", "outcome": None, "sentence": ""}
        result = results[0].summary() if results else nothing
        return {
            **{name: result[name] for name in nothing},
            **joint_facts(served, joint),
            "waiting": waiting.get(_key(served.name, joint.name), 0),
        }


def joint_facts(served: ServedJob, joint: JobJoint) -> dict[str, Any]:
    """What the list says of a joint."""
    told = joint.settings
    limit = limit_of(told)
    sheets = [None if one is None else one.thickness_mm for one in (told.sheet, told.other_sheet)]
    return {
        "job": served.name,
        "name": joint.name,
        "url": joint_url(served, joint),
        "kind": str(told.setup.kind),
        "sheet": _millimetres(sheets[0]),
        "wire": _millimetres(told.wire.diameter_mm if told.wire else None),
        "sheet_mm": sheets[0],
        "other_sheet_mm": sheets[1],
        "wire_mm": None if told.wire is None else told.wire.diameter_mm,
        "limit_mm": limit.limit_mm,
        "limit_rule": limit.rule,
        "drawing": joint.drawing,
        "remark": joint.remark,
        "strips": list(told.strips),
        "length_mm": told.joint_length_mm,
        "several": joint.end_to_end,
    }


def joint_url(served: ServedJob, joint: JobJoint) -> str:
    """The address of a joint's page on the server, which its QR label holds too."""
    return f"/j/{quote(joint.name, safe='')}?{urlencode({'job': served.name})}"


def _millimetres(length_mm: float | None) -> str:
    return "" if length_mm is None else f"{length_mm:.3g} mm"


def _key(job: str, joint: str) -> tuple[str, str]:
    return joint_key(job), joint_key(joint)
