"""The one place where errors become a line on stderr and an exit code."""

from __future__ import annotations

import contextlib
import os
import sys
import warnings
from collections.abc import Sequence
from typing import Any

from fitup.errors import ExitCode, FitupError

__all__ = ["BROKEN_PIPE", "CRASH", "INTERRUPTED", "PipeClosedError", "one_line", "report", "run"]

CRASH = 1
INTERRUPTED = 130  # 128 + SIGINT, as shells have it
BROKEN_PIPE = 141  # 128 + SIGPIPE


class PipeClosedError(Exception):
    """The reader of our output has gone, as in `fitup ... | head -1`."""


def run(arguments: Sequence[str]) -> int:
    """Run one command line and give its exit code; never raises."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter shows a sign instead of a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    if not _debugging():
        # A library's warning is for programmers; what a person must know is in the result's notes.
        warnings.simplefilter("ignore")
    try:
        code = _run_command(list(arguments))
        sys.stdout.flush()
    except (PipeClosedError, BrokenPipeError):
        _silence_stdout()
        return BROKEN_PIPE
    except KeyboardInterrupt:
        _say("stopped.")
        return INTERRUPTED
    except Exception as error:
        return report(error)
    return code


def report(error: Exception, about: str = "") -> int:
    """Tell of an error in one line on stderr and give its exit code."""
    if isinstance(error, FitupError):
        _say(one_line(str(error)))
        return int(error.exit_code)
    if hasattr(error, "format_message"):  # wrong use, found by the argument parser
        _say(f"{one_line(error.format_message())} (see fitup --help)")
        return int(ExitCode.WRONG_USE)
    if _debugging():
        import traceback

        traceback.print_exception(error)
    where = f" while working on {one_line(about)}" if about else ""
    what = one_line(f"{type(error).__name__}: {error}")[:200]
    _say(f"the program failed{where} ({what}); please report this, with what FITUP_DEBUG=1 shows.")
    return CRASH


def one_line(text: str) -> str:
    """Text without line breaks and control characters, which a file name may hold."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _run_command(arguments: list[str]) -> int:
    import typer

    from fitup.cli.app import app

    arguments = arguments or ["--help"]
    command: Any = typer.main.get_command(app)
    try:
        result = command.main(arguments, prog_name="fitup", standalone_mode=False)
    except typer.Abort:
        raise KeyboardInterrupt from None
    if result == INTERRUPTED:  # how some versions of the parser pass Ctrl-C on
        raise KeyboardInterrupt
    return result if isinstance(result, int) else 0


def _debugging() -> bool:
    return os.environ.get("FITUP_DEBUG") == "1"


def _say(sentence: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        print(f"fitup: {sentence}", file=sys.stderr, flush=True)


def _silence_stdout() -> None:
    """Keep the interpreter from flushing into the closed pipe once more when it ends."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
