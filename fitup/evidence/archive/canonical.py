"""Canonical JSON: one value, one row of bytes, so that a digest of it means something.

The form is that of RFC 8785 (JSON Canonicalization Scheme), restricted to what entries hold: text, whole
numbers that every reader keeps exactly, true, false, null, lists, and objects with ASCII names. Broken
numbers are refused; lengths are given in whole micrometres.
"""

from __future__ import annotations

import json
from typing import Any

from fitup.errors import UsageError

__all__ = ["canonical_json", "is_canonical"]

# Numbers beyond this are not kept exactly by readers that take every number for a double (RFC 8785, 3.2.2.3).
_LARGEST = 2**53 - 1


def canonical_json(value: Any) -> bytes:
    """The value as canonical JSON in UTF-8.

    Raises
    ------
    UsageError
        When it holds something that the form has no place for.
    """
    _check(value)
    try:
        return _written(value).encode("utf-8")
    except UnicodeEncodeError:
        raise UsageError("a text holds half a letter (a lone surrogate): write it anew.") from None


def is_canonical(text: str) -> bool:
    """Whether a text is JSON in the form that `canonical_json` writes; errors of JSON's reader pass through.

    Only for what a model has checked to hold nothing that has no place in it.
    """
    return _written(json.loads(text)) == text


def _written(value: Any) -> str:
    return _WRITER.encode(value)


_WRITER = json.JSONEncoder(ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def _check(value: Any) -> None:
    if value is None or isinstance(value, bool | str):
        return
    if isinstance(value, int):
        if abs(value) > _LARGEST:
            raise UsageError(f"the number {value} is larger than canonical JSON keeps exactly.")
    elif isinstance(value, list | tuple):
        for one in value:
            _check(one)
    elif isinstance(value, dict):
        for name, one in value.items():
            if not (isinstance(name, str) and name.isascii()):
                raise UsageError(f"the name {str(name)[:40]!r} is not plain ASCII.")
            _check(one)
    else:
        raise UsageError(f"a {type(value).__name__} has no place in canonical JSON.")
