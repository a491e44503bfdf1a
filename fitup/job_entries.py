"""One joint list while it is read: entries to values and settings, and every fault with its line."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from fitup.errors import FitupError, UsageError
from fitup.inspection import InspectionSettings, limit_of
from fitup.job_keys import JOB_KEYS, JOINT_KEYS, NO_WIRE, OWN_KEYS, SHAPE_KEYS, WELD_KEYS, is_gauge_alone
from fitup.joint import JointSetup
from fitup.scale import PrintRecord, load_print_record
from fitup.toml_lines import TomlFile, TomlPlace, nearest
from fitup.verdict import DEFAULT_RULES, Sheet, ShopRules, WeldSettings, parse_sheet
from fitup.verdict.lengths import show_text
from fitup.verdict.rules_file import read_rules

__all__ = ["Entries", "Entry"]

T = TypeVar("T")

MOST_JOINTS = 5000
_SHEETS = frozenset({"sheet", "plates"})


@dataclass(frozen=True)
class Entry:
    """One entry as read, and where it stands."""

    value: Any
    place: TomlPlace


class Entries:
    """The entries of a joint list. Everything raises UsageError that says file, line, joint and remedy."""

    def __init__(self, file: TomlFile) -> None:
        self.file = file
        self._print_record = cache(self._load_print_record)

    def head(self) -> dict[str, str]:
        """What is said of the whole job."""
        values = self.file.values
        self._check_keys(values, (), [*JOB_KEYS, "defaults", "joint"], "the joint list")
        return {key: self._read(JOB_KEYS[key], values[key], (key,), key) for key in JOB_KEYS if key in values}

    def rules(self, name: str | None) -> ShopRules:
        """The shop's rules, from the file that the list names."""
        if name is None:
            return DEFAULT_RULES
        return self._read(read_rules, self._beside(name), ("rules",), "rules")

    def defaults(self) -> dict[str, Entry]:
        """What holds for every joint that says nothing else."""
        table = self.file.values.get("defaults", {})
        if not isinstance(table, dict):
            raise self.file.fault(("defaults",), "write [defaults] above what holds for all joints.")
        for key in table:
            if key in OWN_KEYS:
                raise self.file.fault(
                    ("defaults", key), f"{key} belongs to one joint: write it below that joint's [[joint]]."
                )
        return self._values(table, ("defaults",), "[defaults]")

    def joint_tables(self) -> Sequence[dict[str, Any]]:
        """Every `[[joint]]`."""
        tables = self.file.values.get("joint", [])
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            raise self.file.fault(("joint",), "write [[joint]] above the entries of each joint.")
        if not tables:
            raise self.file.fault((), "the joint list has no joint: write [[joint]], and below it its name.")
        if len(tables) > MOST_JOINTS:
            place = ("joint", MOST_JOINTS)
            raise self.file.fault(place, f"there are over {MOST_JOINTS} joints: split the list by parts.")
        return tables

    def joint(self, number: int, defaults: Mapping[str, Entry]) -> dict[str, Entry]:
        """One joint's entries, with what it takes from the defaults; it has a name."""
        place: TomlPlace = ("joint", number)
        table = self.joint_tables()[number]
        if "name" not in table:
            raise self.file.fault(place, 'this joint has no name: write name = "J3".')
        name = self._read(JOINT_KEYS["name"], table["name"], (*place, "name"), "name")
        own = self._values(table, place, f"joint {name}")
        return {**_usable(defaults, own), **own}

    def settings(self, number: int, entries: Mapping[str, Entry], rules: ShopRules) -> InspectionSettings:
        """What a joint's entries ask for."""
        place, who = ("joint", number), f"joint {entries['name'].value}"
        if "wire" not in entries:
            remedy = f'write wire = "0.9mm", or wire = "{NO_WIRE}" where it is made without'
            raise self.file.fault(place, f"{who} has no wire: {remedy}.")
        kind, shape = self._shape(who, entries)
        setup = JointSetup.of(kind, **shape)
        sheet, other = self._sheets(who, entries, rules)
        if sheet is None and not setup.opens_in_plate_plane:
            raise self.file.fault(
                entries["kind"].place,
                f'{who} is {setup.kind.in_words} and needs its sheet: write sheet = "1.5mm".',
            )
        said = {key: entry.value for key, entry in entries.items()}
        if said.get("one_sheet") and setup.opens_in_plate_plane and not said.get("two_targets"):
            raise self.file.fault(
                entries["one_sheet"].place,
                f"{who}: one_sheet needs two targets: write two_targets = true.",
            )
        given = {field: said[key] for key, field in _SETTINGS.items() if key in said}
        weld, check = self._weld(who, entries), self._print_check(who, entries)
        try:
            settings = InspectionSettings(
                joint_kind=kind,
                **shape,
                **given,
                sheet=sheet,
                other_sheet=other,
                rules=rules,
                weld=weld,
                print_record=check,
            )
            limit_of(settings)
        except FitupError as error:
            where = entries["limit"].place if "limit" in entries else place
            raise self.file.fault(where, f"{who}: {error}") from None
        return settings

    def _values(self, table: Mapping[str, Any], place: TomlPlace, who: str) -> dict[str, Entry]:
        self._check_keys(table, place, list(JOINT_KEYS), who)
        if set(table) >= _SHEETS:
            raise self.file.fault(
                (*place, "plates"), f"{who} has sheet and plates: write sheet where both plates are alike."
            )
        return {
            key: Entry(self._read(JOINT_KEYS[key], value, (*place, key), f"{who}: {key}"), (*place, key))
            for key, value in table.items()
        }

    def _check_keys(self, table: Mapping[str, Any], place: TomlPlace, known: list[str], who: str) -> None:
        for key in table:
            if key not in known:
                like = nearest(key.replace("-", "_"), known)
                hint = f"did you mean {like}?" if like else f"it may have {', '.join(known)}."
                raise self.file.fault((*place, key), f"{who} has an unknown entry {show_text(key)}: {hint}")

    def _read(self, reader: Callable[[Any], T], value: Any, place: TomlPlace, what: str) -> T:
        try:
            return reader(value)
        except FitupError as error:
            raise self.file.fault(place, f"{what}: {error}") from None

    def _shape(self, who: str, entries: Mapping[str, Entry]) -> tuple[str, dict[str, Any]]:
        """Kind and what goes with it, each checked in its own line."""
        kind = entries["kind"].value if "kind" in entries else "butt"
        shape: dict[str, Any] = {}
        for key, field in SHAPE_KEYS.items():
            if key in entries:
                shape[field] = entries[key].value
                alone = {field: entries[key].value}
                self._read(lambda one: JointSetup.of(kind, **one), alone, entries[key].place, f"{who}: {key}")
        return kind, shape

    def _sheets(
        self, who: str, entries: Mapping[str, Entry], rules: ShopRules
    ) -> tuple[Sheet | None, Sheet | None]:
        """The sheet with the target, and the other plate's where it is another."""
        material = entries["material"].value if "material" in entries else rules.gauge_material

        def sheet(words: str, place: TomlPlace) -> Sheet:
            full = f"{words} {material}" if material and is_gauge_alone(words) else words
            return self._read(parse_sheet, full, place, f"{who}")

        if "plates" in entries:
            first, second = entries["plates"].value
            place = entries["plates"].place
            return sheet(first, (*place, 0)), sheet(second, (*place, 1))
        if "sheet" in entries:
            return sheet(entries["sheet"].value, entries["sheet"].place), None
        return None, None

    def _weld(self, who: str, entries: Mapping[str, Entry]) -> WeldSettings:
        weld = {}
        for key, (field, _) in WELD_KEYS.items():
            if key in entries:
                weld[field] = entries[key].value
                alone = {field: entries[key].value}
                self._read(lambda one: WeldSettings(**one), alone, entries[key].place, f"{who}: {key}")
        return WeldSettings(**weld)

    def _print_check(self, who: str, entries: Mapping[str, Entry]) -> PrintRecord | None:
        if "print_record" not in entries:
            return None
        entry = entries["print_record"]
        return self._read(self._print_record, entry.value, entry.place, f"{who}: print_record")

    def _load_print_record(self, name: str) -> PrintRecord:
        return load_print_record(self._beside(name))

    def _beside(self, name: str) -> Path:
        """A file that the list names, by its place from the list's own folder."""
        return self.file.path.parent / name


# Key of the list -> field of the settings, where nothing else is to be done.
_SETTINGS = {
    "wire": "wire",
    "limit": "procedure_limit_mm",
    "limit_from": "procedure_reference",
    "start": "joint_start_mm",
    "length": "joint_length_mm",
    "strips": "strips",
    "target_thickness": "target_thickness_mm",
    "arris_radius": "arris_radius_mm",
    "two_targets": "two_targets",
    "one_sheet": "one_sheet",
}


def _usable(defaults: Mapping[str, Entry], own: Mapping[str, Entry]) -> dict[str, Entry]:
    """Defaults that a joint does not say otherwise, by the same key or another way of saying it."""
    said = set(own) | (_SHEETS if _SHEETS & set(own) else set())
    said |= {"limit_from"} if "limit" in own else set()
    usable = {key: entry for key, entry in defaults.items() if key not in said}
    kind = {**usable, **own}.get("kind")
    for key, field in SHAPE_KEYS.items():
        if key in usable:
            try:
                JointSetup.of("butt" if kind is None else kind.value, **{field: usable[key].value})
            except UsageError:
                del usable[key]
    return usable
