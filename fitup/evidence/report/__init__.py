"""The report: one record, or all records of a part, as a document for people with the data inside.

What it says is put together once, as sections of plain blocks; one writer makes a PDF/A-3 of them, another an
HTML page. Parts are fetched on first use: the PDF library is slow to load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitup.evidence.report.saving import build_report, save_report

__all__ = ["build_report", "save_report"]


def __getattr__(name: str) -> object:
    """Fetch a public name from the file that makes it (PEP 562)."""
    if name not in __all__:
        raise AttributeError(f"module 'fitup.evidence.report' has no attribute {name!r}")
    from fitup.evidence.report import saving

    value: object = getattr(saving, name)
    return value
