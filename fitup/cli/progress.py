"""A progress bar on stderr, where somebody looks at it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

__all__ = ["ProgressBar"]


class ProgressBar:
    """A bar on stderr when there is more than one thing to be done and somebody to look at it."""

    def __init__(self, count: int, what: str = "photos") -> None:
        console = Console(stderr=True)
        self._bar: Progress | None = None
        if count > 1 and console.is_terminal:
            columns = (
                TextColumn("{task.description}"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
            )
            # Redirecting would send the results, which belong to stdout, to the bar's stderr.
            self._bar = Progress(
                *columns, console=console, transient=True, redirect_stdout=False, redirect_stderr=False
            )
            self._bar.add_task(what, total=count)

    def __enter__(self) -> ProgressBar:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()

    def show(self, what: str, done: int, of: int) -> None:
        """How much is done of what is being done now."""
        if self._bar is not None:
            self._bar.update(self._bar.task_ids[0], description=what, completed=done, total=of)

    @contextmanager
    def out_of_the_way(self) -> Iterator[None]:
        """Clear the bar while a result is shown, then count it."""
        if self._bar is None:
            yield
            return
        self._bar.stop()
        yield
        self._bar.advance(self._bar.task_ids[0])
        self._bar.start()
