"""First form: archive, entry, finding, link; entries cannot be changed or deleted by mistake."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_SEARCHED = ("kind", "day", "job", "part", "joint", "serial", "who", "verdict", "outcome")
_REFUSAL = "entries of the archive are never changed: add a correction"


def upgrade() -> None:
    """Make the tables, and the triggers that keep entries as they are."""
    op.create_table(
        "archive",
        sa.Column("only_row", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("archive", sa.String(32), nullable=False),
        sa.Column("begun_at_utc", sa.String(20), nullable=False),
        sa.CheckConstraint("only_row = 1", name="archive_has_one_row"),
    )
    op.create_table(
        "entry",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("digest", sa.String(64), nullable=False, unique=True),
        sa.Column("previous", sa.String(64), nullable=False, unique=True),
        sa.Column("content", sa.Text, nullable=False),
    )
    op.create_table("finding", _number(), *_finding_columns())
    for name in _SEARCHED:
        op.create_index(f"finding_by_{name}", "finding", [name, "number"])
    op.create_table(
        "link",
        _number(),
        sa.Column(
            "to_number", sa.Integer, sa.ForeignKey("entry.number"), primary_key=True, autoincrement=False
        ),
    )
    op.create_index("link_by_target", "link", ["to_number", "number"])
    _refuse_changes()


def _number() -> sa.Column[int]:
    return sa.Column(
        "number", sa.Integer, sa.ForeignKey("entry.number"), primary_key=True, autoincrement=False
    )


def _finding_columns() -> list[sa.Column[Any]]:
    short = {"kind": 16, "day": 10, "verdict": 16, "outcome": 16}
    texts = ("job", "part", "joint", "serial", "who", "text")
    return [
        *(sa.Column(name, sa.String(length), nullable=False) for name, length in short.items()),
        *(sa.Column(name, sa.Text, nullable=False) for name in texts),
        sa.Column("wire_um", sa.Integer),
        sa.Column("main_sha256", sa.String(64), unique=True),
    ]


def _refuse_changes() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER entry_refuses_{change.lower()} BEFORE {change} ON entry "
                f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION entry_refuses_change() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER entry_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON entry "
        "FOR EACH STATEMENT EXECUTE FUNCTION entry_refuses_change()"
    )
