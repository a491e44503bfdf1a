"""The joint list, `joints.toml`: a job's joints with all that inspecting each of them needs.

The trade's weld map as data: kind, plates, wire, settings, limit, length and strips of every joint, so that
nothing is typed at the photo. What holds for all joints stands once, under `[defaults]`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass

from fitup.errors import UsageError
from fitup.inspection import InspectionSettings
from fitup.job_entries import Entries
from fitup.toml_lines import nearest, read_toml
from fitup.verdict import ShopRules
from fitup.verdict.lengths import show_text

__all__ = ["Job", "JobJoint", "joint_key", "read_job"]

_MOST_NAMES = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class JobJoint:
    """One joint of the list: its name, and the settings to inspect it with.

    `photos` are names of its photos, where the list tells them; `drawing` and `remark` are for people.
    """

    name: str
    settings: InspectionSettings
    photos: tuple[str, ...] = ()
    drawing: str = ""
    remark: str = ""

    @property
    def end_to_end(self) -> bool:
        """Whether strips lie end to end along it, so that its photos are inspected together."""
        settings = self.settings
        pair = settings.two_targets or not settings.setup.opens_in_plate_plane
        return len(settings.strips) > (2 if pair else 1)


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """A joint list, with its file's name and the SHA-256 of its bytes."""

    file_name: str
    sha256: str
    job: str
    part: str
    description: str
    rules: ShopRules
    joints: tuple[JobJoint, ...]

    def joint(self, name: str) -> JobJoint:
        """The joint of that name; UsageError with the known names, the most alike first, if there is none."""
        known = {joint_key(one.name): one for one in self.joints}
        if joint_key(name) in known:
            return known[joint_key(name)]
        names = [one.name for one in self.joints]
        like = nearest(name, names)
        names.sort(key=lambda one: one != like)
        more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        listed = ", ".join(names[:_MOST_NAMES])
        raise UsageError(f"{self.file_name} has no joint {show_text(name)}: it has {listed}{more}.")


def joint_key(name: str) -> str:
    """What two writings of one name have in common: case and blanks at the ends tell no joints apart."""
    return name.strip().casefold()


def read_job(path: str | os.PathLike[str]) -> Job:
    """Read a joint list, check every entry, and fetch the rules and print checks that it names.

    Raises
    ------
    UsageError
        One sentence with file, line, joint and what to write instead.
    """
    entries = Entries(read_toml(path, "joint list"))
    head = entries.head()
    rules = entries.rules(head.get("rules"))
    defaults = entries.defaults()
    joints: list[JobJoint] = []
    for number in range(len(entries.joint_tables())):
        given = entries.joint(number, defaults)
        said = {key: entry.value for key, entry in given.items()}
        joints.append(
            JobJoint(
                settings=entries.settings(number, given, rules),
                **{key: said[key] for key in ("name", "photos", "drawing", "remark") if key in said},
            )
        )
    _check_names(entries, joints)
    _check_photos(entries, joints)
    return Job(
        file_name=entries.file.path.name,
        sha256=entries.file.sha256,
        job=head.get("job", ""),
        part=head.get("part", ""),
        description=head.get("description", ""),
        rules=rules,
        joints=tuple(joints),
    )


def _check_names(entries: Entries, joints: list[JobJoint]) -> None:
    """Every joint has a name of its own."""
    first: dict[str, int] = {}
    for number, one in enumerate(joints):
        earlier = first.setdefault(joint_key(one.name), number)
        if earlier != number:
            line = entries.file.line_of(("joint", earlier, "name"))
            raise entries.file.fault(
                ("joint", number, "name"),
                f"joint {one.name} is there already, in line {line}: give every joint a name of its own.",
            )


def _check_photos(entries: Entries, joints: list[JobJoint]) -> None:
    """A photo may stand at two joints only where strips tell them apart in it."""
    first: dict[str, JobJoint] = {}
    for number, one in enumerate(joints):
        for photo in one.photos:
            other = first.setdefault(joint_key(photo), one)
            apart = set(one.settings.strips) ^ set(other.settings.strips)
            if other is not one and not apart:
                raise entries.file.fault(
                    ("joint", number, "photos"),
                    f"joint {one.name}: photo {photo} stands at joint {other.name} too: write at both which "
                    "strips lie beside them.",
                )
