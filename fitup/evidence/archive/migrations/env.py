"""What alembic runs: the migrations, in the connection and transaction that `database.py` has opened."""

from __future__ import annotations

from alembic import context

from fitup.evidence.archive.models import Base

context.configure(connection=context.config.attributes["connection"], target_metadata=Base.metadata)
context.run_migrations()
