"""`fitup study`, with its options: the instrument proved, the record asked."""

from __future__ import annotations

import typer

from fitup.cli.study_bias import agree, bias
from fitup.cli.study_gauge import gauge, plan, read
from fitup.cli.study_outcomes import outcomes
from fitup.cli.study_recurring import recurring

__all__ = ["study"]

study = typer.Typer(rich_markup_mode=None)


@study.callback()
def _group() -> None:
    """Make it a group whatever the number of its commands."""


# The help of the group is above; the docstring is for readers of this file.
_group.__doc__ = None

study.command("plan")(plan)
study.command("read")(read)
study.command("gauge")(gauge)
study.command("bias")(bias)
study.command("agree")(agree)
study.command("recurring")(recurring)
study.command("outcomes")(outcomes)
