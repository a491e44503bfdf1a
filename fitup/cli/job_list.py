"""A joint list at the command line: `--job joints.toml --joint J3`, and the options given instead of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fitup.cli.given import OPTION_OF, given_settings, read_settings, settings_over
from fitup.cli.joint_names import parse_joints
from fitup.errors import UsageError

if TYPE_CHECKING:
    from fitup.cli.inspecting import Options
    from fitup.evidence import Filing
    from fitup.inspection import InspectionSettings
    from fitup.job import Job, JobJoint
    from fitup.listed import ListedInspection

__all__ = ["JobList", "filing_of", "names_a_list", "one_joint"]


def names_a_list(job: str) -> bool:
    """Whether `--job` names a joint list; anything else is the job's name, for the record."""
    if job.lower().endswith(".toml"):
        return True
    try:
        return bool(job) and Path(job).is_file()
    except (OSError, ValueError):
        return False


def filing_of(options: Options, joint: str) -> Filing:
    """Who inspects what, as the record keeps it."""
    from fitup.evidence import Filing

    return Filing(who=options.who, job=options.job, part=options.part, joint=joint)


def one_joint(options: Options, usual_kind: str = "butt") -> tuple[InspectionSettings, Filing]:
    """Settings and filing of the one joint that several photos show.

    Raises
    ------
    UsageError
        When an option cannot be used, or the joint list has no such joint.
    """
    if names_a_list(options.job):
        return JobList(options).one()
    return read_settings(options, usual_kind), filing_of(options, parse_joints(options.joint)[0])


class JobList:
    """The joint list of a command, with the options laid over it. Raises UsageError for either."""

    def __init__(self, options: Options) -> None:
        from fitup.job import read_job

        self._options = options
        self.job: Job = read_job(options.job)
        self._given = given_settings(options)
        name, by_strip = parse_joints(options.joint)
        names = [(name, None)] if name else [(of, number) for number, of in sorted(by_strip.items())]
        self._done: dict[str, JobJoint] = {}
        self._named = [self._settled(self._named_joint(of, number)) for of, number in names]

    def inspect(self, photo: Path) -> tuple[ListedInspection, ...]:
        """Every joint of a photo that was named, that the list gives to it, or whose strip lies in it."""
        from fitup.listed import inspect_listed, joints_by_photo

        told = self._named or [self._settled(one) for one in joints_by_photo(self.job, photo.name)]
        if self._options.points is not None and len(told) != 1:
            raise UsageError("the points lie on one joint: name it (--joint J3).")
        if told:
            return inspect_listed(photo, told)
        with_strips = [one for one in self.job.joints if one.settings.strips]
        if not with_strips:
            raise UsageError(
                f"{self.job.file_name} does not say which joint {photo.name} shows: name it "
                "(--joint J3), or write its strips or its photos into the list."
            )
        return inspect_listed(photo, [self._settled(one) for one in with_strips], by_strips=True)

    @property
    def several(self) -> bool:
        """Whether joints were named by their strips, which are those of one photo."""
        return len(self._named) > 1

    def one(self) -> tuple[InspectionSettings, Filing]:
        """Settings and filing of the one joint that is named."""
        if len(self._named) != 1:
            raise UsageError(f"name the joint of {self.job.file_name} that the photos show: --joint J3.")
        joint = self._named[0]
        return joint.settings, self.filing(joint.name)

    def filing(self, joint: str, as_filed: str = "") -> Filing:
        """Who inspects what, with the list that says how; `joint` is "" for a strip of no joint."""
        from fitup.evidence import Filing
        from fitup.evidence.subject import JointListUsed

        return Filing(
            who=self._options.who,
            job=self.job.job,
            part=self._options.part or self.job.part,
            joint=as_filed or joint,
            joint_list=JointListUsed(
                file_name=self.job.file_name,
                sha256=self.job.sha256,
                instead=self._instead(joint) if joint else (),
            ),
        )

    def settled(self) -> Job:
        """The whole list, with what the command line says instead of it."""
        return replace(self.job, joints=tuple(self._settled(one) for one in self.job.joints))

    def _settled(self, joint: JobJoint) -> JobJoint:
        """A joint with what the command line says instead of the list."""
        if joint.name not in self._done:
            self._done[joint.name] = replace(joint, settings=settings_over(joint.settings, self._given))
        return self._done[joint.name]

    def _instead(self, name: str) -> tuple[str, ...]:
        """Names of the options that say otherwise than the list."""
        listed = self.job.joint(name).settings
        return tuple(
            option.removeprefix("--")
            for field, option in OPTION_OF.items()
            if field in self._given and self._given[field] != getattr(listed, field)
        )

    def _named_joint(self, name: str, strip: int | None) -> JobJoint:
        joint = self.job.joint(name)
        if strip is None or strip in joint.settings.strips:
            return joint
        return replace(joint, settings=replace(joint.settings, strips=(strip,)))
