"""Migrations of the archive's tables, run by alembic; see `database.py`."""
