"""Groups of commands that are built when one of them is called, so that the help of the whole stays quick."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

__all__ = ["LATER_GROUPS", "LaterGroups", "build_groups"]

# By name where a group is found, and what the help of the whole program says of it.
LATER_GROUPS: Mapping[str, tuple[str, str, str]] = {
    "job": ("fitup.cli.jobs", "job_list", "Look at joint lists and check them."),
    "rules": ("fitup.cli.rules", "shop_rules", "What bounds a joint's gap, and rules files."),
    "archive": (
        "fitup.cli.archive",
        "archive",
        "Keep results so that they can be found and proved years later.",
    ),
    "study": (
        "fitup.cli.study",
        "study",
        "Prove the instrument by a gauge study, and learn from the record.",
    ),
}


class LaterGroups(TyperGroup):
    """The program's commands, some of whose groups are empty until they are called."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """As every group does, with the group built that is called."""
        if args[0] in LATER_GROUPS:
            self.commands[args[0]] = _built(args[0])
        return super().resolve_command(ctx, args)


def build_groups(root: Any) -> None:
    """Build all groups of the program's command, for whoever looks through them."""
    for name in LATER_GROUPS:
        root.commands[name] = _built(name)


def _built(name: str) -> Any:
    module, attribute, told = LATER_GROUPS[name]
    group: typer.Typer = getattr(import_module(module), attribute)
    command = typer.main.get_group(group)
    command.name, command.help = name, told
    return command
