"""noseroom: put an older car's nose together digitally before anything is cut.

`check(path)` reads an envelope file and answers whether everything fits; `Session(path)` does so
again and again, and computes only what has changed. Names are loaded when they are first used, so
that `import noseroom` loads neither the CAD kernel nor a mesh library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from noseroom._version import __version__

if TYPE_CHECKING:
    from noseroom.errors import EnvelopeError, NoseroomError
    from noseroom.findings import Finding, Verdict
    from noseroom.pipeline import Session, check
    from noseroom.report.result import Result

_WHERE = {
    "check": "noseroom.pipeline",
    "Session": "noseroom.pipeline",
    "Result": "noseroom.report.result",
    "Finding": "noseroom.findings",
    "Verdict": "noseroom.findings",
    "NoseroomError": "noseroom.errors",
    "EnvelopeError": "noseroom.errors",
}

__all__ = [
    "EnvelopeError",
    "Finding",
    "NoseroomError",
    "Result",
    "Session",
    "Verdict",
    "__version__",
    "check",
]


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
