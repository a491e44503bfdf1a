"""Settlements as files beside their record: read and checked, one more added, never one changed.

`settlement-001.json`, `settlement-002.json` and so on lie in the record's folder. Whoever adds one reads all
that are there, judges with all of them, and writes under the next number; if somebody else was quicker, the
same again.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fitup.errors import StorageError, UsageError
from fitup.evidence.judged_record import JudgedRecord
from fitup.evidence.record_file import model_from_json, model_to_json, read_text
from fitup.evidence.settlement_building import (
    Given,
    holding,
    reading_of,
    same_verdict,
    settlement_record,
    verdict_of,
)
from fitup.evidence.settlement_record import SETTLEMENT_SCHEMA_VERSION, SettlementRecord
from fitup.evidence.subject import Filing
from fitup.evidence.writing import printable_name, write_new_file
from fitup.verdict.settled import SettledVerdict, settle

__all__ = [
    "SETTLEMENT_SCHEMA_FILE",
    "Settlements",
    "add_settlement",
    "read_settlements",
    "settlement_schema_text",
]

SETTLEMENT_SCHEMA_FILE = Path(__file__).with_name("settlement_record.schema.json")
"""The published schema; a test proves that it is what `settlement_schema_text` gives."""

_NAME = re.compile(r"settlement-([0-9]{3,4})\.json")
_MOST = 9999


@dataclass(frozen=True, kw_only=True, eq=False)
class Settlements:
    """All settlements of a record in their order, and the verdict that follows; without any, the photo's."""

    judged: JudgedRecord
    records: tuple[SettlementRecord, ...]
    digests: tuple[str, ...]
    verdict: SettledVerdict

    def path(self, number: int) -> Path:
        """Where the settlement of this number lies."""
        return self.judged.folder / f"settlement-{number:03d}.json"


def read_settlements(judged: JudgedRecord) -> Settlements:
    """Read all settlements that lie beside a record and check each.

    Raises
    ------
    StorageError
        When one is damaged, missing, of another record, altered, or does not give the verdict it states.
    """
    records: list[SettlementRecord] = []
    digests: list[str] = []
    for number, path in enumerate(_files(judged.folder), start=1):
        content, name = read_text(path), printable_name(path.name)
        if int(path.stem.rpartition("-")[2]) != number:
            raise StorageError(f"settlement {number} is missing before {name}: take it from a copy.")
        settlement = model_from_json(SettlementRecord, SETTLEMENT_SCHEMA_VERSION, content, name)
        _check(judged, settlement, name, number, digests)
        records.append(settlement)
        digests.append(hashlib.sha256(content).hexdigest())
        _check_verdict(judged, records, name)
    return Settlements(
        judged=judged, records=tuple(records), digests=tuple(digests), verdict=_settled(judged, records)
    )


def add_settlement(judged: JudgedRecord, given: Given, filing: Filing) -> Settlements:
    """Add one reading, or the withdrawal of one, beside the record, and give all settlements with it.

    Raises
    ------
    UsageError
        When what is given does not fit the record or its settlements.
    StorageError
        When the settlements there cannot be read, or nothing can be written.
    """
    while True:
        before = read_settlements(judged)
        if len(before.records) >= _MOST:
            raise UsageError(f"{judged.name} has {_MOST} settlements: photograph the joint again.")
        added = settlement_record(judged, before.records, before.digests, given, filing)
        if write_new_file(before.path(added.number), model_to_json(added).encode("utf-8")):
            return read_settlements(judged)


def settlement_schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a settlement, as the text of the published file."""
    schema: dict[str, Any] = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:fitup:settlement:{SETTLEMENT_SCHEMA_VERSION}",
        **SettlementRecord.model_json_schema(mode="validation"),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _files(folder: Path) -> list[Path]:
    try:
        named = [path for path in folder.iterdir() if _NAME.fullmatch(path.name)]
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise StorageError(f"{printable_name(str(folder))} cannot be read: {reason}.") from None
    return sorted(named, key=lambda path: int(path.stem.rpartition("-")[2]))


def _check(
    judged: JudgedRecord, settlement: SettlementRecord, name: str, number: int, digests: list[str]
) -> None:
    """Whether a settlement belongs to this record, at this place in the row."""
    if settlement.record.sha256 != judged.sha256:
        raise StorageError(
            f"{name} settles another record than {judged.name}: move it to its own record, or take the "
            "record back as it was."
        )
    chain = [(one.number, one.sha256) for one in settlement.earlier]
    if settlement.number != number or chain != list(enumerate(digests, start=1)):
        raise StorageError(f"a settlement before {name} was altered or exchanged: take all from a copy.")
    if (settlement.reading is None) == (settlement.withdraws is None):
        raise StorageError(
            f"{name} was altered: it must hold one reading or one withdrawal; take it from a copy."
        )


def _check_verdict(judged: JudgedRecord, records: list[SettlementRecord], name: str) -> None:
    try:
        follows = verdict_of(records, _settled(judged, records), judged.joint)
    except UsageError:
        raise StorageError(f"{name} was altered: no such reading is possible; take it from a copy.") from None
    if not same_verdict(records[-1].verdict, follows):
        raise StorageError(
            f"{name} states another verdict than follows from its readings: it was altered, or written by a "
            f"program version with other rules (version {printable_name(records[-1].program.version)})."
        )


def _settled(judged: JudgedRecord, records: list[SettlementRecord]) -> SettledVerdict:
    return settle(judged.joint, [reading_of(one) for one in holding(records)])
