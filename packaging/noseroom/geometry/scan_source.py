"""Opening a scan that may be anything: a pipe, a device, a picture, a file cut short.

Only the length and the first bytes are looked at here; all else is left to a process of its own.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from noseroom.geometry.scan_types import ENDINGS, UNITS_MM, Limits, ScanError

_HEAD_BYTES = 4096
_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
}
# First bytes that give a file away, whatever its name says.
_SIGNS: tuple[tuple[bytes, str], ...] = (
    (b"version https://git-lfs", "a pointer to a file that was never fetched"),
    (b"ISO-10303-21", "a STEP file"),
    (b"glTF", "a GLB file"),
    (b"PK\x03\x04", "a zip archive"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"ply\n", "a PLY file"),
    (b"ply\r", "a PLY file"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"%PDF", "a PDF"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"\xff\xfe", "text in UTF-16"),
    (b"\xfe\xff", "text in UTF-16"),
)
_STL_HEAD, _STL_RECORD = 84, 50
_READ_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NONBLOCK", 0)  # a pipe without a writer would wait for ever
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
)


@dataclass(frozen=True, slots=True)
class Source:
    """An open regular file. descriptor: at its first byte; name: without the folder."""

    descriptor: int
    name: str
    ending: str
    size: int


@contextmanager
def opened(path: Path, unit: str | None, limits: Limits) -> Iterator[Source]:
    """Open a scan for reading and look at its first bytes.

    Everything is asked of the open file, never of the name again, so that nothing can be put in
    its place between the question and the reading.

    Raises:
        ScanError: no such file, not a regular one, too large, or not what its ending says.
    """
    name, ending = path.name, path.suffix.lower().lstrip(".")
    if ending not in ENDINGS:
        found = f"the ending .{ending}" if ending else "no ending"
        raise ScanError(name, found, f"one of .{', .'.join(ENDINGS)}", "save it as one of these")
    if unit is not None and unit not in UNITS_MM:
        raise ScanError(name, f"the unit {unit!r}", f"one of {', '.join(UNITS_MM)}")
    descriptor = _open(path)
    try:
        state = os.fstat(descriptor)
        _demand_regular(name, state.st_mode)
        if not state.st_size:
            raise ScanError(name, "an empty file", "a scan", "save or copy it again")
        if state.st_size > limits.file_bytes:
            raise ScanError(
                name,
                f"{state.st_size / 1e6:.0f} MB",
                f"at most {limits.file_bytes / 1e6:.0f} MB",
                "cut it down to the nose in the scanning program",
            )
        head = os.read(descriptor, _HEAD_BYTES)
        os.lseek(descriptor, 0, os.SEEK_SET)
        _demand_signs(name, ending, head, state.st_size)
        yield Source(descriptor, name, ending, state.st_size)
    finally:
        os.close(descriptor)


def _open(path: Path) -> int:
    name = path.name
    try:
        # Opening some devices does something to them, so the name is asked first.
        _demand_regular(name, os.stat(path).st_mode)
        return os.open(path, _READ_FLAGS)
    except (OSError, ValueError) as error:
        if isinstance(error, ScanError):
            raise
        raise ScanError(name, _why(error), "a file that can be read") from error


def _why(error: OSError | ValueError) -> str:
    number = error.errno if isinstance(error, OSError) else None
    if number in (errno.ENOENT, errno.ENOTDIR):
        return "no such file"
    if number in (errno.EACCES, errno.EPERM):
        return "a file that this user may not read"
    if number == errno.ELOOP:
        return "a link that leads round to itself"
    reason = error.strerror if isinstance(error, OSError) else None
    return (reason or "a name that no file can have").lower()


def _demand_regular(name: str, mode: int) -> None:
    if not stat.S_ISREG(mode):
        found = _KINDS.get(stat.S_IFMT(mode), "something that is not a file")
        raise ScanError(name, found, "a regular file")


def _demand_signs(name: str, ending: str, head: bytes, size: int) -> None:
    """Refuse a file whose first bytes are not those of its kind."""
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    match ending:
        case "stl":
            _demand_stl(name, head, size)
            return
        case "ply":
            fits, expected = head[:4] in (b"ply\n", b"ply\r"), "a PLY file, which begins with ply"
        case "obj":
            fits, expected = b"\0" not in head, "an OBJ file, which is text"
        case "3mf":
            fits, expected = head[:4] == b"PK\x03\x04", "a 3MF file, which is a zip archive"
        case "glb":
            fits, expected = head[:4] == b"glTF", "a GLB file, which begins with glTF"
        case "gltf":
            fits, expected = start[:1] == b"{", "a glTF file, which begins with {"
        case _:
            fits = start.startswith(b"ISO-10303-21")
            expected = "a STEP file, which begins with ISO-10303-21"
    known = _sign(head)
    if not fits or (ending == "obj" and known):
        raise ScanError(name, known or _plain_sign(head), expected, "is its ending right?")


def _demand_stl(name: str, head: bytes, size: int) -> None:
    """Refuse what is neither text nor as long as the number of its triangles asks."""
    if stl_is_text(head, size):
        return
    expected = "an STL file, text or binary"
    known = _sign(head)
    if known or size < _STL_HEAD:
        raise ScanError(name, known or _plain_sign(head), expected, "is its ending right?")
    if b"\0" not in head and all(byte >= 9 for byte in head[:_STL_HEAD]):
        raise ScanError(name, "text that does not begin with solid", expected, "save it again")
    count = int.from_bytes(head[80:84], "little")
    whole = _STL_HEAD + _STL_RECORD * count
    if size != whole:
        cut = "it was cut short" if size < whole else "its count or its end is damaged"
        raise ScanError(
            name,
            f"{size} bytes for {count} triangles",
            f"{whole} bytes in a binary STL file",
            f"{cut}: save or copy it again",
        )


def stl_is_text(head: bytes, size: int) -> bool:
    """Whether an STL file is the text form; binary ones may begin with "solid" too."""
    if size >= _STL_HEAD:
        count = int.from_bytes(head[80:84], "little")
        if size == _STL_HEAD + _STL_RECORD * count:
            return False
    return head.lstrip()[:5].lower() == b"solid" and b"\0" not in head


def _sign(head: bytes) -> str:
    return next((words for start, words in _SIGNS if head.startswith(start)), "")


def _plain_sign(head: bytes) -> str:
    if not head.strip(b"\0"):
        return "nothing but zeros"
    if head.lstrip()[:1] == b"<":
        return "a web page or XML"
    return "binary data" if b"\0" in head else "text of another kind"
