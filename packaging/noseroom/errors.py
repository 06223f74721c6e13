"""One family of errors, so that a caller can catch everything that noseroom raises on purpose."""

from __future__ import annotations

from dataclasses import dataclass


class NoseroomError(Exception):
    """Base of every error that noseroom raises on purpose; its text is meant for a person."""


class UnitsError(NoseroomError, ValueError):
    """A text that cannot be read as a length, an angle or a count."""


class SentenceError(NoseroomError, ValueError):
    """A place sentence that cannot be understood. `hint` says what would be."""

    def __init__(self, message: str, *, hint: str = "") -> None:
        super().__init__(message)
        self.hint = hint


class SurveyError(NoseroomError, ValueError):
    """Readings that cannot be adjusted. `lines` are the lines in the file that are at odds."""

    def __init__(self, message: str, *, lines: tuple[int, ...] = ()) -> None:
        super().__init__(message)
        self.lines = lines


class GeometryError(NoseroomError, ValueError):
    """A solid that cannot be built, or a body that is not what it should be."""


class MissingLibraryError(NoseroomError, ImportError):
    """A library that the work needs is not on this machine; the text names what to install."""


class OutputError(NoseroomError, OSError):
    """A file that could not be written; what stood there before is untouched."""


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing that is wrong with an envelope file.

    line: 1-based line in the file. key: where, as a dotted path ("" for the file as a whole).
    found, expected, suggestion: what stood there, what was wanted, the nearest right spelling.
    """

    line: int
    key: str
    found: str
    expected: str
    suggestion: str = ""

    def __str__(self) -> str:
        where = f"line {self.line}"
        if self.key:
            where += f", {self.key}"
        text = f"{where}: found {self.found}; expected {self.expected}"
        return f"{text} ({self.suggestion})" if self.suggestion else text


class EnvelopeError(NoseroomError, ValueError):
    """An envelope file that cannot be used; `faults` lists everything wrong with it, by line."""

    def __init__(self, path: str, faults: tuple[Fault, ...]) -> None:
        self.path = path
        self.faults = tuple(sorted(faults))
        plural = "fault" if len(faults) == 1 else "faults"
        lines = "\n".join(f"  {fault}" for fault in self.faults)
        super().__init__(f"{path}: {len(faults)} {plural}\n{lines}")
