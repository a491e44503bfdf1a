"""The archive: what was seen before the weld, kept so that it can be found, shown and proved years later.

Nothing heavy is imported here; take what is needed from the files of this folder, `archive.py` first.
"""

from __future__ import annotations

__all__: list[str] = []
