"""Progress on long work, on standard error, and only where a person watches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn


@contextmanager
def showing_progress() -> Iterator[Callable[[int, int, str], None]]:
    """Give a function (done, of, what) that moves a bar; it vanishes at the end."""
    console = Console(stderr=True)
    columns = (
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("starting", total=None)

        def say(done: int, of: int, what: str) -> None:
            bar.update(task, completed=done, total=of, description=what)

        yield say
