"""What the server of the phone page is told when it starts."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path

from fitup.errors import UsageError
from fitup.evidence.subject import Filing, JointListUsed
from fitup.job import Job, JobJoint, joint_key

__all__ = ["PhoneSettings", "ServedJob"]

MEGABYTE = 1_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class ServedJob:
    """A joint list as it is served; `used` says, by joint, where its settings come from."""

    job: Job
    used: Mapping[str, JointListUsed] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """What the job is called on the page and in its addresses."""
        return self.job.job or Path(self.job.file_name).stem

    def filing(self, joint: JobJoint, who: str, when: datetime) -> Filing:
        """Who inspects what, and when, as the record keeps it."""
        listed = JointListUsed(file_name=self.job.file_name, sha256=self.job.sha256)
        return Filing(
            who=who,
            job=self.job.job,
            part=self.job.part,
            joint=joint.name,
            joint_list=self.used.get(joint.name, listed),
            clock=partial(_same, when),
        )


def _same(when: datetime) -> datetime:
    """A clock that stands, and can be sent to a worker."""
    return when


@dataclass(frozen=True, kw_only=True, eq=False)
class PhoneSettings:
    """All that the server needs to know.

    `state_folder` holds what is on its way (photos that were received, the queue) and who may come in.
    `archive` is where every result goes. `host_names` are names, besides addresses, by which the page may be
    called. A photo has at most `photo_bytes_max` bytes, and its worker `measure_s_max` seconds and
    `worker_bytes_max` bytes of memory. `address` is where phones reach the page, for
    labels; that of the request where it is not said. `samples` are photos that the page offers instead of the
    camera.

    Raises UsageError where two jobs bear one name.
    """

    jobs: tuple[ServedJob, ...]
    archive: str
    state_folder: Path
    serial: str = ""
    workers: int = field(default_factory=lambda: max(1, os.cpu_count() or 1))
    photo_bytes_max: int = 60 * MEGABYTE
    measure_s_max: float = 120.0
    worker_bytes_max: int = 4000 * MEGABYTE
    host_names: tuple[str, ...] = ()
    https: bool = False
    address: str = ""
    samples: tuple[Path, ...] = ()

    def __post_init__(self) -> None:
        names = [joint_key(one.name) for one in self.jobs]
        twice = next((one.name for one in self.jobs if names.count(joint_key(one.name)) > 1), None)
        if twice is not None:
            raise UsageError(f"two joint lists are of job {twice}: give every job a name of its own.")

    def job(self, name: str) -> ServedJob:
        """The job of that name, or the only one where none is named; UsageError when there is none."""
        if not name and len(self.jobs) == 1:
            return self.jobs[0]
        for one in self.jobs:
            if joint_key(one.name) == joint_key(name):
                return one
        raise UsageError("there is no such job here: take the joint from the list of joints.")

    def find(self, job: str, joint: str) -> tuple[ServedJob, JobJoint]:
        """The joint of a job; UsageError when there is none."""
        served = self.job(job)
        for one in served.job.joints:
            if joint_key(one.name) == joint_key(joint):
                return served, one
        raise UsageError(f"job {served.name} has no such joint: take it from the list of joints.")

    @property
    def views(self) -> Path:
        """The folder of smaller pictures of photos."""
        return self.state_folder / "views"

    def view(self, digest: str) -> Path:
        """Where the smaller picture of a photo lies, or will lie."""
        return self.views / digest[:2] / f"{digest}.jpg"
