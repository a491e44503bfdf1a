"""Mutation runs of the verdict (`make mutants`): tests that stop early, and what became of the mutants.

Loaded as a plugin of pytest while mutmut runs the tests. Run as a program it prints, for every file, how many
mutants there were and how many the tests noticed, and names those that they did not.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings

WANTED = 0.90
"""Share of mutants that the tests must notice."""
FEW_EXAMPLES = 10
SETTINGS = "_hypothesis_internal_use_settings"
# mutmut's notes on a mutant: the exit code of its tests, or its own code for no tests and for a timeout.
SURVIVED, NO_TESTS, TIMEOUTS = 0, 33, (-24, 24, 36, 152, 255)
COLUMNS = ("killed", "timeout", "survived", "no tests", "not run")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[Any]) -> None:
    """One failure decides, and it need not be a small one: quick tests first, random examples few."""
    for item in items:
        usual = getattr(item.obj, SETTINGS, None)
        if usual is not None:
            few = settings(
                usual,
                max_examples=min(usual.max_examples, FEW_EXAMPLES),
                phases=[Phase.explicit, Phase.generate],
                suppress_health_check=list(HealthCheck),
            )
            setattr(getattr(item.obj, "__func__", item.obj), SETTINGS, few)
    items.sort(key=lambda item: hasattr(item.obj, SETTINGS))


def outcome(code: int | None) -> str:
    """What a mutant's exit code means; tests that crash or never end have noticed it."""
    if code is None:
        return "not run"
    if code in TIMEOUTS:
        return "timeout"
    return {SURVIVED: "survived", NO_TESTS: "no tests"}.get(code, "killed")


def main(folder: Path) -> int:
    """Print the table and the mutants that lived; 1 where too few were noticed or not all were run."""
    by_file = {
        path.name.removesuffix(".meta"): json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"]
        for path in sorted(folder.rglob("*.py.meta"))
    }
    lived: list[str] = []
    total = dict.fromkeys(COLUMNS, 0)
    print(f"{'file':22}{'mutants':>9}" + "".join(f"{name:>10}" for name in COLUMNS))
    for name, codes in by_file.items():
        outcomes = {mutant: outcome(code) for mutant, code in codes.items()}
        counts = [list(outcomes.values()).count(column) for column in COLUMNS]
        total = {column: total[column] + count for column, count in zip(COLUMNS, counts, strict=True)}
        lived += [mutant for mutant, of in outcomes.items() if of in ("survived", "no tests")]
        if codes:
            print(f"{name:22}{len(codes):9}" + "".join(f"{count:10}" for count in counts))
    count = sum(total.values())
    share = (total["killed"] + total["timeout"]) / max(count, 1)
    print(f"{'all':22}{count:9}" + "".join(f"{number:10}" for number in total.values()))
    print(f"{share:.1%} noticed, {WANTED:.0%} wanted; those that lived:", *lived, sep="\n")
    return 0 if share >= WANTED and not total["not run"] else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
