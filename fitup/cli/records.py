"""`fitup record` and `fitup schema`: stored records, shown again."""

from __future__ import annotations

from collections.abc import Callable, Mapping

__all__ = ["print_schema", "show"]


def show(file: str, *, as_json: bool) -> int:
    """Show one record file, or the one in a folder, and what was settled since."""
    from fitup.cli.later_screen import LaterScreen
    from fitup.cli.screen import print_line
    from fitup.evidence.judged_record import read_judged
    from fitup.evidence.record_file import model_to_json
    from fitup.evidence.settlement_file import read_settlements

    judged = read_judged(file)
    if as_json:
        print_line(model_to_json(judged.record).rstrip("\n"))
        return 0
    screen = LaterScreen()
    screen.show_any(judged.record)
    screen.show_settled_beside(read_settlements(judged))
    return 0


def print_schema(kinds: Mapping[str, bool]) -> int:
    """The JSON Schema of a record on stdout; `kinds` says by option which kind is asked for, if any."""
    from fitup.cli.screen import print_line
    from fitup.errors import UsageError
    from fitup.evidence.comparison_building import comparison_schema_text
    from fitup.evidence.record_file import schema_text
    from fitup.evidence.seam_saving import seam_schema_text
    from fitup.evidence.settlement_file import settlement_schema_text
    from fitup.evidence.sides_saving import sides_schema_text

    asked = [kind for kind, wanted in kinds.items() if wanted]
    if len(asked) > 1:
        raise UsageError(f"{' and '.join(asked)} are kinds of record of their own: give one of them.")
    texts: dict[str, Callable[[], str]] = {
        "--seam": seam_schema_text,
        "--sides": sides_schema_text,
        "--settlement": settlement_schema_text,
        "--comparison": comparison_schema_text,
    }
    print_line(texts.get(asked[0] if asked else "", schema_text)().rstrip("\n"))
    return 0
