"""Answers on disk, kept from run to run and shared by all that run at once.

One database file in the user's cache folder. A value is read only with the digest that it was
written with; a file that is damaged is put away and begun anew; a run that is killed leaves what
was there before. Whatever happens here, nothing is lost but time.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import threading
import time
from pathlib import Path

FOLDER_VARIABLE = "NOSEROOM_CACHE"
"""The environment variable that names another folder, or "none" for no cache."""
_FILE = "answers.sqlite"
_WAIT_S = 5.0
_MOST_BYTES = 400_000_000
_KEPT_SHARE = 0.7
_TABLE = """
CREATE TABLE IF NOT EXISTS answers (
    key BLOB PRIMARY KEY, value BLOB NOT NULL, digest BLOB NOT NULL, used INTEGER NOT NULL
) WITHOUT ROWID
"""


def usual_folder() -> Path | None:
    """Where the cache is kept; None where the user wants none."""
    said = os.environ.get(FOLDER_VARIABLE, "")
    if said.strip().lower() == "none":
        return None
    if said:
        return Path(said)
    import platformdirs

    return Path(platformdirs.user_cache_dir("noseroom", appauthor=False))


class Shelf:
    """What earlier runs have computed, as bytes by key.

    folder: made where it is not there. salt: what all answers depend on besides their keys, such as
    versions. remarks: what went wrong, for a person; nothing raises.
    """

    def __init__(self, folder: Path, salt: bytes) -> None:
        self._path = folder / _FILE
        self._salt = salt
        self._new: dict[bytes, bytes] = {}
        self._used: set[bytes] = set()
        self.remarks: list[str] = []
        # A notebook or a window asks from whatever thread it likes, one after the other.
        self._lock = threading.RLock()
        self._base = self._opened()

    def get(self, key: bytes) -> bytes | None:
        """What was kept for a key; None for nothing that can be trusted."""
        with self._lock:
            return self._get(key)

    def _get(self, key: bytes) -> bytes | None:
        whole = self._whole(key)
        if whole in self._new:
            return self._new[whole]
        if self._base is None:
            return None
        try:
            found = self._base.execute(
                "SELECT value, digest FROM answers WHERE key = ?", (whole,)
            ).fetchone()
        except sqlite3.DatabaseError as error:
            self._failed(error)
            return None
        if found is None:
            return None
        value, digest = found
        if not isinstance(value, bytes) or _digest(whole, value) != digest:
            self._say("one of the answers kept on disk was damaged and is computed again")
            return None
        self._used.add(whole)
        return value

    def put(self, key: bytes, value: bytes) -> None:
        """Keep a value; it is on disk after `save`."""
        with self._lock:
            self._new[self._whole(key)] = value

    def save(self) -> None:
        """Write what is new, all of it or nothing."""
        with self._lock:
            self._save()

    def _save(self) -> None:
        if self._base is None or not (self._new or self._used):
            return
        now = int(time.time())
        rows = [(key, value, _digest(key, value), now) for key, value in self._new.items()]
        try:
            with self._base:
                self._base.execute("BEGIN IMMEDIATE")
                self._base.executemany("INSERT OR REPLACE INTO answers VALUES (?, ?, ?, ?)", rows)
                self._base.executemany(
                    "UPDATE answers SET used = ? WHERE key = ?", [(now, key) for key in self._used]
                )
                self._make_room()
        except sqlite3.DatabaseError as error:
            self._failed(error)
        # What could not be written is not worth a second try: the next run computes it.
        self._new, self._used = {}, set()

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            if self._base is not None:
                self._base.close()
                self._base = None

    def _whole(self, key: bytes) -> bytes:
        return hashlib.blake2b(self._salt + key, digest_size=16).digest()

    def _opened(self) -> sqlite3.Connection | None:
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
        except OSError:
            return None  # no place to write to: then there is no cache
        for again in (False, True):
            base = None
            try:
                base = sqlite3.connect(
                    self._path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False
                )
                base.execute("PRAGMA synchronous = NORMAL")
                base.execute(_TABLE)
                base.execute("SELECT used, digest FROM answers LIMIT 1").fetchone()
            except sqlite3.DatabaseError as error:
                if base is not None:
                    base.close()
                if again or not _is_damage(error):
                    return None
                self._put_away()
            else:
                return base
        return None

    def _failed(self, error: sqlite3.DatabaseError) -> None:
        self.close()
        if _is_damage(error):
            self._put_away()
            self._base = self._opened()

    def _put_away(self) -> None:
        """Make room for a new file where the old one cannot be read."""
        self._say("the answers kept on disk were damaged; they are computed again")
        for ending in ("", "-journal", "-wal", "-shm"):
            try:
                os.unlink(f"{self._path}{ending}")
            except OSError:
                continue  # another run was quicker, or it is not ours to delete

    def _make_room(self) -> None:
        """Forget what was used least lately, once there is too much."""
        assert self._base is not None
        total = self._base.execute("SELECT SUM(LENGTH(value)) FROM answers").fetchone()[0] or 0
        if total <= _MOST_BYTES:
            return
        gone: list[tuple[bytes]] = []
        for key, size in self._base.execute("SELECT key, LENGTH(value) FROM answers ORDER BY used"):
            if total <= _MOST_BYTES * _KEPT_SHARE:
                break
            gone.append((key,))
            total -= size
        self._base.executemany("DELETE FROM answers WHERE key = ?", gone)

    def _say(self, remark: str) -> None:
        if remark not in self.remarks:
            self.remarks.append(remark)


def _is_damage(error: sqlite3.DatabaseError) -> bool:
    """Whether a file is no database of ours; not where it is only locked, full or read-only."""
    if isinstance(error, sqlite3.OperationalError):
        # A table of that name with other columns: some other program's file, or an older one.
        return "no such column" in str(error) or "malformed" in str(error)
    # Its other kinds are mistakes in how it is asked, and no fault of the file.
    return type(error) is sqlite3.DatabaseError


def _digest(key: bytes, value: bytes) -> bytes:
    return hashlib.blake2b(key + value, digest_size=16).digest()
