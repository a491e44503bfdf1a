"""What can go wrong, as one family, each with the exit code that the command line returns.

FitupError
├── UsageError      2  a value, argument, rule or record that cannot be used
├── PhotoError      2  a file that is no photo, is damaged, or is over the limits
├── RetakeError     5  a sound photo in which the joint cannot be measured
└── StorageError    6  a result that could not be written or read back

Every `str(error)` is one sentence that says what is wrong and, where it is not plain, what to do;
`tests/test_error_sentences.py` walks over all places that raise.
"""

from __future__ import annotations

from enum import IntEnum
from typing import ClassVar

__all__ = ["ExitCode", "FitupError", "PhotoError", "RetakeError", "StorageError", "UsageError"]


class ExitCode(IntEnum):
    """Exit codes of the command line; 1 stays for a crash, which must not happen."""

    WITHIN = 0
    WRONG_USE = 2
    RE_FIXTURE = 3
    GAUGE = 4
    RETAKE = 5
    STORAGE = 6


class FitupError(Exception):
    """Base of all errors that fitup raises on purpose; `str(error)` is one sentence for a person."""

    exit_code: ClassVar[ExitCode] = ExitCode.WRONG_USE


class UsageError(FitupError):
    """A value given by the user cannot be used."""


class PhotoError(FitupError):
    """The file cannot be opened as a photo."""


class RetakeError(FitupError):
    """The photo opened, but the joint cannot be measured in it.

    `reason` is the machine word, `message` what was seen and `remedy` what to do: a sentence each, which
    `str(error)` joins into one.
    """

    exit_code: ClassVar[ExitCode] = ExitCode.RETAKE

    def __init__(self, reason: str, message: str, remedy: str) -> None:
        """Keep the short machine word, what was seen, and what the fitter should do."""
        super().__init__(_joined(message, remedy))
        self.reason = reason
        self.message = message
        self.remedy = remedy

    def __reduce__(self) -> tuple[type[RetakeError], tuple[str, str, str]]:
        return type(self), (self.reason, self.message, self.remedy)


class StorageError(FitupError):
    """A result could not be written or read back."""

    exit_code: ClassVar[ExitCode] = ExitCode.STORAGE


def _joined(message: str, remedy: str) -> str:
    """One sentence from "What was seen." and "Do this."."""
    seen = message.rstrip(".")
    link = ";" if ":" in seen else ":"
    return f"{seen}{link} {remedy[:1].lower()}{remedy[1:]}"
