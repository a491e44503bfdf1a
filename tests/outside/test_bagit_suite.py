"""The conformance suite of RFC 8493 (LibraryOfCongress/bagit-conformance-suite, public domain), where it is.

It is on none of the registries that tests install from: FITUP_BAGIT_SUITE names a folder that it was cloned
to. What it calls invalid must be refused. What it calls valid or valid with a warning must hold, or be
refused for one of the reasons that we state to be stricter for.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fitup.errors import StorageError, UsageError
from fitup.evidence.archive.bag_check import check_bag

SUITE = os.environ.get("FITUP_BAGIT_SUITE", "")
CASES = sorted(Path(SUITE).glob("v*/*/*/")) if SUITE else []
INVALID = ("invalid", "linux-only")
# What is refused although the RFC or an earlier version of it lets it pass.
STRICTER = (
    "not the two lines of BagIt 0.97 or 1.0 in UTF-8",
    "not text in UTF-8",
    "files to be fetched from elsewhere are not accepted",
    "its path is not a plain one",
    "its path leads out of the bag on some systems",
    "its name has control characters or broken letters",
    "on some systems it has the same name as",
    "it is listed twice",
    "its kind of digest is not known",
)


def called(case: Path) -> str:
    return "/".join(case.parts[-3:])


@pytest.mark.skipif(not SUITE, reason="FITUP_BAGIT_SUITE names no folder with the conformance suite")
def test_the_suite_is_there() -> None:
    assert len([case for case in CASES if case.parts[-2] in INVALID]) >= 20
    assert len([case for case in CASES if case.parts[-2] == "valid"]) >= 20


@pytest.mark.parametrize("case", CASES, ids=called)
def test_case(case: Path) -> None:
    if case.parts[-2] in INVALID:
        with pytest.raises((StorageError, UsageError)):
            check_bag(case)
        return
    said = refusal(case)
    assert said is None or any(reason in said for reason in STRICTER), said


def refusal(case: Path) -> str | None:
    try:
        check_bag(case)
    except StorageError as error:
        return str(error)
    return None
