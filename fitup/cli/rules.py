"""`fitup rules show` and `fitup rules check`, with their options: what bounds the gap of a joint, and why."""

from __future__ import annotations

from typing import Annotated

import typer

from fitup.cli import shared_options as shared
from fitup.errors import ExitCode

__all__ = ["shop_rules"]

shop_rules = typer.Typer(rich_markup_mode=None)


@shop_rules.command("show")
def show(
    wire: shared.Wire = None,
    no_wire: shared.NoWire = False,
    sheet: shared.Sheet = None,
    other_sheet: shared.OtherSheet = None,
    joint_kind: shared.JointKind = None,
    target_on: shared.TargetOn = None,
    included_angle: shared.IncludedAngle = None,
    overlap: shared.Overlap = None,
    limit: shared.Limit = None,
    rules: shared.Rules = None,
    feed: shared.Feed = None,
    travel: shared.Travel = None,
    oscillation: shared.Oscillation = None,
    spot: shared.Spot = None,
    probability: shared.Probability = None,
) -> int:
    """Show what every rule allows in a joint, with the numbers put in, and which do not apply and why.

    Exit code 2 where no limit follows, such as from settings that do not fill a closed joint.
    """
    from fitup.cli.given import case_of
    from fitup.cli.inspecting import Options
    from fitup.cli.rules_screen import RulesScreen
    from fitup.verdict import limit_for

    case, decision = case_of(
        Options(
            photos=(),
            wire=wire,
            no_wire=no_wire,
            sheet=sheet,
            other_sheet=other_sheet,
            joint_kind=joint_kind,
            target_on=target_on,
            included_angle_deg=included_angle,
            overlap=overlap,
            limit=limit,
            rules=rules,
            feed=feed,
            travel=travel,
            oscillation=oscillation,
            spot=spot,
            probability=probability,
        )
    )
    RulesScreen().show_case(case, decision)
    limit_for(case)  # where there is none, the error says why
    return int(ExitCode.WITHIN)


@shop_rules.command("check")
def check(
    file: Annotated[str, typer.Argument(metavar="FILE", help="A shop-rules file, .toml.")],
) -> int:
    """Check a rules file: exit code 0 when all of it can be used, else 2 and what to change in which line."""
    from fitup.cli.rules_screen import RulesScreen
    from fitup.verdict import read_rules

    RulesScreen().show_file(read_rules(file))
    return int(ExitCode.WITHIN)
