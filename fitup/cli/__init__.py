"""The command line: a thin door that knows no image processing."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit code."""
    import sys

    from fitup.cli.boundary import run
    from fitup.matrix_threads import one_matrix_thread

    one_matrix_thread()
    sys.exit(run(sys.argv[1:]))
