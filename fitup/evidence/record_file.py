"""Records as files: JSON out, JSON in, and the JSON Schema that says what a record is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from fitup.errors import StorageError
from fitup.evidence.record import SCHEMA_VERSION, InspectionRecord
from fitup.evidence.writing import printable_name

__all__ = [
    "SCHEMA_FILE",
    "model_from_json",
    "model_to_json",
    "read_record",
    "read_text",
    "record_from_json",
    "record_schema",
    "record_to_json",
    "schema_text",
]

Record = TypeVar("Record", bound=BaseModel)

SCHEMA_FILE = Path(__file__).with_name("record.schema.json")
"""The published schema; a test proves that it is what `record_schema` gives."""

_LARGEST_BYTES = 64_000_000


def record_to_json(record: InspectionRecord) -> str:
    """The record as JSON (RFC 8259) with the fields in the order of the model; no NaN, no infinity."""
    return model_to_json(record)


def model_to_json(record: BaseModel) -> str:
    """Any kind of record as JSON, as `record_to_json`."""
    data = record.model_dump(mode="json")
    return json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def record_from_json(text: str | bytes, name: str = "the record") -> InspectionRecord:
    """Read a record back.

    Raises
    ------
    StorageError
        When the text is damaged, is no record, or is one of another version: one sentence.
    """
    return model_from_json(InspectionRecord, SCHEMA_VERSION, text, name)


def model_from_json(model: type[Record], known: int, text: str | bytes, name: str) -> Record:
    """Read any kind of record back, of the version `known` or an older one; errors as `record_from_json`.

    Records of older versions lack only fields that the model fills in by itself.
    """
    if len(text) > _LARGEST_BYTES:
        raise StorageError(f"{name} is larger than any record; check the file.")
    version = _version(text, name)
    if type(version) is int and 1 <= version < known:
        text = json.dumps({**json.loads(text), "schema_version": known})
    elif version != known:
        raise StorageError(
            f"{name} is a record of version {version!r} and this program reads version {known}; "
            f"use the program version that wrote it."
        )
    try:
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the top"
        raise StorageError(
            f"{name} is damaged or was altered: {place[:100]}: {first['msg'].lower()[:100]}; "
            f"take it from a copy or measure the photo again."
        ) from None


def read_record(path: Path) -> InspectionRecord:
    """Read a record file; StorageError when that fails, with the file's name."""
    return record_from_json(read_text(path), printable_name(path.name))


def read_text(path: Path) -> bytes:
    """The content of a record file, or the beginning of a larger one; StorageError when that fails."""
    name = printable_name(path.name)
    try:
        with path.open("rb") as file:
            return file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise StorageError(f"{name} cannot be read: {reason}.") from None


def record_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a record, as pydantic draws it from the model."""
    schema = InspectionRecord.model_json_schema(mode="validation")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:fitup:record:{SCHEMA_VERSION}",
        **schema,
    }


def schema_text() -> str:
    """The schema as the text of the published file."""
    return json.dumps(record_schema(), indent=1, ensure_ascii=False) + "\n"


def _version(text: str | bytes, name: str) -> object:
    try:
        data = json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise StorageError(f"{name} is damaged: it is no JSON; take it from a copy.") from None
    if not isinstance(data, dict) or "schema_version" not in data:
        raise StorageError(f"{name} is no inspection record: it has no schema_version.")
    version: object = data["schema_version"]
    return "of unreadable form" if isinstance(version, dict | list | str) and len(version) > 20 else version


def _refuse_constant(constant: str) -> float:
    raise ValueError(f"{constant} is no JSON")
