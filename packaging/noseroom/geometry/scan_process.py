"""Reading a scan in a process of its own, so that a bad file can take nothing else with it.

The process gets the open file, limits on memory and time, and a folder for its answer. Whatever
becomes of it (killed for its memory, crashed in the CAD kernel, still busy), the caller gets one
clear error. Its answer is checked like any other file.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from time import monotonic
from typing import Any

from noseroom.geometry.scan_answer import unpacked
from noseroom.geometry.scan_source import Source, opened
from noseroom.geometry.scan_steps import STEPS, Listener, Progress, said
from noseroom.geometry.scan_types import DEFAULT_LIMITS, UNITS_MM, Limits, Scan, ScanError

# The limits are set before anything else is loaded; where the system has none, time alone counts.
_BOOT = """
import json, os, sys
order = json.loads(sys.argv[1])
# What libraries print is no news.
order["news"] = os.dup(1)
os.dup2(2, 1)
try:
    import resource
except ImportError:
    pass
else:
    for kind, soft, hard in order["limits"]:
        limit = getattr(resource, kind, None)
        if limit is not None:
            try:
                resource.setrlimit(limit, (soft, hard))
            except (ValueError, OSError):
                pass
sys.path[:] = order["path"]
from noseroom.geometry.scan_worker import main
main(order)
"""
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_ANSWER = "answer"
_LEAST_TRIANGLES = 100


def read_scan(
    path: str | os.PathLike[str],
    *,
    unit: str | None = None,
    most_triangles: int = 60_000,
    limits: Limits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> Scan:
    """Read a scan or part file (STL, PLY, OBJ, 3MF, GLB, glTF or STEP) and mend it.

    unit: mm, cm, m, in or ft; asked for where the file does not say it (STL, PLY, OBJ). Where the
    file does, it has to be the same or None. most_triangles: more are thinned out to these, or a
    few more; how far that moved the surface is in `deflection_mm`. progress: called with (done,
    of, what) as the reading goes on. Only this one file is opened: no material, picture or other
    file that it names.

    Nothing is filled: a hole is space that nobody saw.

    Raises:
        ScanError: in one line, whatever is wrong with the file; the text holds no folder.
    """
    if most_triangles < _LEAST_TRIANGLES:
        found = f"most_triangles = {most_triangles}"
        raise ScanError(Path(path).name, found, f"{_LEAST_TRIANGLES} or more")
    with (
        opened(Path(path), unit, limits) as source,
        tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder,
    ):
        _run(source, unit, most_triangles, limits, folder, progress)
        return unpacked(source.name, Path(folder, _ANSWER))


def _run(
    source: Source,
    unit: str | None,
    most_triangles: int,
    limits: Limits,
    folder: str,
    progress: Progress | None,
) -> None:
    if getattr(sys, "frozen", False) or not sys.executable:
        raise ScanError(source.name, "no Python interpreter to read it with", "one")
    order = {
        "path": [one for one in sys.path if one],
        "limits": [
            ("RLIMIT_CORE", 0, 0),
            ("RLIMIT_AS", limits.memory_bytes, limits.memory_bytes),
            # The first ends it with a signal of its own, which tells it from lack of memory.
            ("RLIMIT_CPU", limits.processor_s, limits.processor_s + 5),
            ("RLIMIT_FSIZE", limits.memory_bytes, limits.memory_bytes),
        ],
        "ending": source.ending,
        "unit_mm": None if unit is None else UNITS_MM[unit],
        "most_triangles": most_triangles,
        "file_bytes": limits.file_bytes,
        "unpacked_bytes": limits.unpacked_bytes,
        "triangles": limits.triangles,
        "pieces": limits.pieces,
        "answer": _ANSWER,
    }
    environment = {**os.environ, **dict.fromkeys(_ONE_THREAD, "1"), "MALLOC_ARENA_MAX": "2"}
    child = subprocess.Popen(
        [sys.executable, "-I", "-c", _BOOT, json.dumps(order)],
        stdin=source.descriptor,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=folder,
        env=environment,
        start_new_session=True,
    )
    try:
        status = _followed(child, limits.wall_s, progress)
    except subprocess.TimeoutExpired:
        found = f"a file that is not read after {limits.wall_s:g} s"
        raise ScanError(source.name, found, "a scan", _SMALLER) from None
    finally:
        _end(child)
    if status:
        raise ScanError(source.name, _what_became(status, limits), "a scan", _SMALLER)


def _followed(child: subprocess.Popen[Any], wall_s: float, progress: Progress | None) -> int:
    """The process's exit status, passing on how far it is meanwhile.

    Raises subprocess.TimeoutExpired when it takes longer than that.
    """
    end = monotonic() + wall_s
    # The listener closes it, in its own time: what the process started may hold the other end.
    listener = Listener(os.dup(child.stdout.fileno())) if child.stdout else None
    if child.stdout:
        child.stdout.close()
    with contextlib.suppress(EOFError):
        while listener and child.poll() is None and monotonic() < end:
            news = listener.next(min(_LOOK_S, max(0.0, end - monotonic())))
            if news and progress:
                progress(news[0], len(STEPS), said(*news))
    return child.wait(timeout=max(0.0, end - monotonic()))


_LOOK_S = 0.5
_SMALLER = "open it in the program that made it, cut it down to the nose and save it again"


def _end(child: subprocess.Popen[Any]) -> None:
    """End the process and whatever it started; nothing happens where it has ended."""
    if child.poll() is not None:
        return
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(child.pid, signal.SIGKILL)
        else:
            child.kill()
    child.wait()


def _what_became(status: int, limits: Limits) -> str:
    if status == -getattr(signal, "SIGXCPU", 0):
        return f"a file that needs more than {limits.processor_s} s of computing"
    if status == -getattr(signal, "SIGKILL", 0):
        return "a file for which the system has too little memory"
    return "a file that breaks the program that reads it"
