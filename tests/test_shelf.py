"""Answers on disk: right when damaged, when shared, and when a run is killed half-way."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

import numpy as np
import pytest

from demo_noses import WITH_CONDENSER
from noseroom.memo import Memo
from noseroom.packing import pack, unpack
from noseroom.shelf import Shelf, usual_folder

FILE = "answers.sqlite"


def filled(folder: Path, count: int = 200) -> None:
    shelf = Shelf(folder, b"salt")
    for number in range(count):
        shelf.put(b"key %d" % number, b"value %d " % number * 50)
    shelf.save()
    shelf.close()


def test_what_is_put_is_there_in_the_next_run(tmp_path: Path) -> None:
    filled(tmp_path)
    shelf = Shelf(tmp_path, b"salt")
    assert shelf.get(b"key 7") == b"value 7 " * 50
    assert shelf.get(b"key 1000") is None
    assert shelf.remarks == []


def test_any_thread_may_ask(tmp_path: Path) -> None:
    filled(tmp_path)
    shelf = Shelf(tmp_path, b"salt")
    with ThreadPoolExecutor(3) as pool:
        found = list(pool.map(lambda n: shelf.get(b"key %d" % n), range(50)))
        shelf.put(b"new", b"value")
        pool.submit(shelf.save).result()
        pool.submit(shelf.close).result()
    assert found == [b"value %d " % n * 50 for n in range(50)]
    assert shelf.remarks == []
    assert Shelf(tmp_path, b"salt").get(b"new") == b"value"


def test_other_versions_find_nothing(tmp_path: Path) -> None:
    filled(tmp_path)
    assert Shelf(tmp_path, b"another salt").get(b"key 7") is None


def cut(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size * 2 // 3)


def cut_short(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(50)


def garbage(path: Path) -> None:
    path.write_bytes(np.random.default_rng(5).bytes(path.stat().st_size))


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def another_table(path: Path) -> None:
    path.unlink()
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE answers (a, b)")


def values_changed(path: Path) -> None:
    with sqlite3.connect(path) as base:
        base.execute("UPDATE answers SET value = X'00'")


def bytes_flipped(path: Path) -> None:
    raw = bytearray(path.read_bytes())
    for at in np.random.default_rng(6).integers(4096, len(raw), 400):
        raw[at] ^= 0x55
    path.write_bytes(bytes(raw))


@pytest.mark.parametrize(
    "damage",
    [cut, cut_short, garbage, emptied, another_table, values_changed, bytes_flipped],
)
def test_a_damaged_file_gives_nothing_wrong_and_is_begun_anew(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    filled(tmp_path)
    damage(tmp_path / FILE)
    shelf = Shelf(tmp_path, b"salt")
    for number in range(200):
        found = shelf.get(b"key %d" % number)
        assert found in (None, b"value %d " % number * 50)
        shelf.put(b"key %d" % number, b"value %d " % number * 50)
    shelf.save()
    if damage is not emptied:  # an empty file is a database with nothing in it
        assert any("damaged" in line for line in shelf.remarks)
    shelf.close()
    again = Shelf(tmp_path, b"salt")
    assert all(again.get(b"key %d" % n) == b"value %d " % n * 50 for n in range(200))


def test_where_nothing_can_be_written_there_is_no_cache_and_no_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "folder" / FILE).mkdir(parents=True)
    for folder in (tmp_path / "file", tmp_path / "folder"):
        shelf = Shelf(folder, b"salt")
        shelf.put(b"key", b"value")
        shelf.save()
        assert Shelf(folder, b"salt").get(b"key") is None


def test_a_file_that_another_run_has_locked_is_waited_for_and_then_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(tmp_path)
    monkeypatch.setattr("noseroom.shelf._WAIT_S", 0.05)
    other = sqlite3.connect(tmp_path / FILE, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    shelf = Shelf(tmp_path, b"salt")
    shelf.put(b"new", b"value")
    shelf.save()
    assert shelf.remarks == []
    other.execute("ROLLBACK")
    other.close()
    assert Shelf(tmp_path, b"salt").get(b"key 7") == b"value 7 " * 50


def test_the_least_lately_used_goes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("noseroom.shelf._MOST_BYTES", 10_000)
    filled(tmp_path, count=100)
    with sqlite3.connect(tmp_path / FILE) as base:
        (size,) = base.execute("SELECT SUM(LENGTH(value)) FROM answers").fetchone()
    assert 0 < size <= 10_000


WRITER = """
import os, sys
from pathlib import Path
from noseroom.shelf import Shelf
shelf = Shelf(Path(sys.argv[1]), b"salt")
for turn in range(10000):
    for number in range(50):
        shelf.put(b"%d" % number, b"%d" % number * 2000)
    shelf.save()
    print(turn, flush=True)
"""


def test_runs_at_once_and_a_killed_one_leave_what_is_right(tmp_path: Path) -> None:
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(WRITER), str(tmp_path)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(3)
    ]
    try:
        for one in writers:
            assert one.stdout is not None
            assert one.stdout.readline()
        time.sleep(0.5)
        for one in writers:
            one.send_signal(signal.SIGKILL)
    finally:
        for one in writers:
            one.kill()
            one.wait()
    shelf = Shelf(tmp_path, b"salt")
    assert all(shelf.get(b"%d" % number) == b"%d" % number * 2000 for number in range(50))
    assert shelf.remarks == []


CHECK = """
import sys, noseroom
print(noseroom.check(sys.argv[1], remark=lambda line: print(line, file=sys.stderr)).to_json())
"""


def checking(path: Path, cache: Path | str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", CHECK, str(path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"NOSEROOM_CACHE": str(cache)},
    )


@pytest.fixture(scope="module")
def right(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A nose, and the answer of a run without a cache."""
    path = tmp_path_factory.mktemp("cache") / "nose.yaml"
    path.write_text(WITH_CONDENSER)
    said, wrong = checking(path, "none").communicate()
    assert wrong == ""
    return path, said


def test_a_run_with_a_damaged_cache_is_right_and_says_so(
    right: tuple[Path, str], tmp_path: Path
) -> None:
    path, expected = right
    assert checking(path, tmp_path).communicate() == (expected, "")
    assert checking(path, tmp_path).communicate() == (expected, "")
    garbage(tmp_path / FILE)
    said, wrong = checking(path, tmp_path).communicate()
    assert said == expected
    assert wrong == "the answers kept on disk were damaged; they are computed again\n"


def test_two_runs_at_once_and_one_after_a_killed_one_are_right(
    right: tuple[Path, str], tmp_path: Path
) -> None:
    path, expected = right
    one, two, killed = (checking(path, tmp_path) for _ in range(3))
    while not (tmp_path / FILE).exists() and killed.poll() is None:
        time.sleep(0.01)
    killed.kill()
    killed.communicate()
    for run in (one, two, checking(path, tmp_path)):
        assert run.communicate() == (expected, "")


def test_the_user_may_name_another_folder_or_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NOSEROOM_CACHE", "None")
    assert usual_folder() is None
    monkeypatch.setenv("NOSEROOM_CACHE", "some/folder")
    assert usual_folder() == Path("some/folder")
    monkeypatch.delenv("NOSEROOM_CACHE")
    folder = usual_folder()
    assert folder is not None
    assert folder.name == "noseroom"


class Colour(Enum):
    RED = "red"


@dataclass(frozen=True, eq=False)
class Record:
    name: str
    at: object
    inner: object = None


def test_what_is_packed_comes_back_equal() -> None:
    array = np.arange(6, dtype=np.float32).reshape(2, 3)
    assert unpack(pack(np.array(2.5))).shape == ()
    made = Record("a", (1, 2.5, None, True, b"x", float("inf")), Record("b", array, {"k": 1}))
    back = unpack(pack((made, Colour.RED, np.float64(0.1))), Record, Colour)
    assert back[0].at == made.at
    assert back[0].inner.inner == {"k": 1}
    assert back[0].inner.at.dtype == array.dtype
    assert np.array_equal(back[0].inner.at, array)
    assert back[1] is Colour.RED
    assert back[2] == 0.1


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"\xc1", pack(Record("a", 1))[:-3], pack(Colour.RED), pack(Record("a", Colour.RED)),
        b"\x81\xa6record\x92\xa6Record\x81\xa1x\x01", b"\x81\xa5array\x93\xa3|O8\x91\x01\xc4\x01a",
        b"\x81\xa5array\x93\xa3(1,\x91\x01\xc4\x01a",
        b"\x81\xa5array\x93\xa3<f8\x91\xff\xc4\x08abcdefgh",
        b"\x91" * 900 + b"\x01",
    ],
)  # fmt: skip
def test_bytes_that_were_not_packed_are_refused(raw: bytes) -> None:
    with pytest.raises(ValueError, match="not what was packed"):
        unpack(raw, Record)


def test_a_memo_with_a_shelf_computes_nothing_that_an_earlier_one_has(tmp_path: Path) -> None:
    for expected in (1, 0):
        shelf = Shelf(tmp_path, b"salt")
        memo = Memo(shelf)
        found = memo.get(("key", 1.0), lambda: Record("a", 2.0), (Record,))
        assert (found.name, found.at, memo.made) == ("a", 2.0, expected)
        assert memo.save() == []
        shelf.close()


def test_an_answer_of_another_form_is_computed_again(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path, b"salt")
    Memo(shelf).get("key", lambda: Record("a", 1), (Record,))
    assert Memo(shelf).get("key", lambda: 5, ()) == 5
