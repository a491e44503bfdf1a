"""`python -m fitup` is the command line."""

from __future__ import annotations

from fitup.cli import main

if __name__ == "__main__":
    main()
