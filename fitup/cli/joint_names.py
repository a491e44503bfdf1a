"""Names of joints as `--joint` gives them: one name, or a name for each strip in the photo."""

from __future__ import annotations

import re
from collections.abc import Sequence

from fitup.errors import UsageError

__all__ = ["parse_joints"]

_NAMED = re.compile(r"(.*\S)\s*=\s*([0-9]{1,3})\s*", re.DOTALL)


def parse_joints(values: Sequence[str]) -> tuple[str, dict[int, str]]:
    """The joint's name where there is one, and names by strip number written as 'J3=11'.

    Raises
    ------
    UsageError
        When both ways are mixed, or two names are given for one strip or one name for two.
    """
    pairs = [_NAMED.fullmatch(value) for value in values]
    names = {int(pair[2]): pair[1].strip() for pair in pairs if pair}
    plain = [value for value, pair in zip(values, pairs, strict=True) if pair is None]
    if len(plain) > 1 or (plain and names):
        raise UsageError(
            "--joint is one name, or a name for every strip in the photo: --joint J3=11 --joint J4=12."
        )
    if len(names) + len(plain) < len(values) or len(set(names.values())) < len(names):
        raise UsageError("--joint names a strip or a joint twice: give every strip its own joint.")
    return (plain[0] if plain else ""), names
