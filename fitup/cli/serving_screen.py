"""What `fitup serve` prints when it starts: where phones and people find it."""

from __future__ import annotations

from fitup.cli.screen import print_line
from fitup.phone.labels import qr_terminal

__all__ = ["tell_addresses"]


def tell_addresses(address: str, screen: str, trial: str | None, left: str) -> None:
    """The page's address with its code, this computer's own page, in a trial a way in, and what is left."""
    print_line(f"The phone page is served at {address}")
    for line in qr_terminal(address).splitlines():
        print_line(line)
    print_line(f"Let phones in on this computer, at its own page: {screen}")
    if trial is not None:
        print_line(f"To try it in this computer's browser, within five minutes: {trial}")
    print_line(f"Ctrl-C ends it; {left}.")
