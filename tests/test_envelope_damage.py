"""Damaged files: each is refused with faults that say where, and with nothing else."""

from __future__ import annotations

import contextlib
import os
import random
from pathlib import Path

import pytest

from damage import DAMAGES, SOUND, damaged
from noseroom.envelope.reader import read, read_text
from noseroom.errors import EnvelopeError
from noseroom.parts.registry import KINDS
from strategies import random_envelope_text


def faults_of(data: str | bytes) -> EnvelopeError:
    with pytest.raises(EnvelopeError) as caught:
        read_text(data, KINDS)
    return caught.value


def test_the_file_that_gets_damaged_is_sound_itself() -> None:
    assert set(read_text(SOUND, KINDS).parts) >= {"core support", "radiator", "left puller"}


@pytest.mark.parametrize("name", sorted(DAMAGES))
def test_every_kind_of_damage_is_refused(name: str) -> None:
    for seed in range(6):
        made = DAMAGES[name](random.Random(seed), SOUND)
        assert made != SOUND
        error = faults_of(made)
        assert error.faults
        assert all(one.line >= 1 and one.found and one.expected for one in error.faults)


def test_five_hundred_damaged_files_are_refused_with_faults_and_nothing_else() -> None:
    rng = random.Random(1957)
    for _ in range(500):
        name, data = damaged(rng)
        error = faults_of(data)
        assert error.faults, name
        last = data.count(b"\n") + data.count(b"\r") + 1
        assert all(1 <= one.line <= max(last, 1) for one in error.faults), (name, str(error))


def test_two_hundred_valid_files_are_accepted() -> None:
    for seed in range(200):
        text = random_envelope_text(random.Random(seed), KINDS)
        envelope = read_text(text, KINDS)
        for part in envelope.parts.values():
            kind = KINDS[part.kind]
            for size in kind.sizes:
                if size.key in part.sizes:
                    read_size = part.sizes[size.key]
                    assert size.low <= read_size.value <= size.high
                    assert read_size.half_width >= 0


def test_random_bytes_put_in_or_taken_out_never_raise_anything_but_envelope_error() -> None:
    rng = random.Random(88)
    for seed in range(120):
        data = bytearray(random_envelope_text(random.Random(seed), KINDS).encode())
        for _ in range(rng.randint(1, 6)):
            at = rng.randrange(len(data))
            if rng.random() < 0.5:
                data[at : at + rng.randint(1, 9)] = b""
            else:
                data[at:at] = rng.choice((b"{", b"}", b"[", b":", b": ", b"\n", b"- ", b"'", b'"',
                                          b"&a ", b"*a ", b"#", b"? ", b"|", b">", b"%", b"!x ",
                                          b"\\U", b"\t", b",", b"~", b"<<: "))  # fmt: skip
        with contextlib.suppress(EnvelopeError):
            assert read_text(bytes(data), KINDS).parts


def test_only_regular_files_are_read(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.yaml"
    os.mkfifo(pipe)
    for path, words in (
        (tmp_path, "directory"),
        (pipe, "pipe"),
        (Path(os.devnull), "device"),
        (tmp_path / "none.yaml", "no file"),
        (tmp_path / "nul\0name.yaml", "cannot be opened"),
    ):
        with pytest.raises(EnvelopeError, match=words):
            read(path, KINDS)


def test_a_file_above_the_cap_is_refused_before_it_is_parsed(tmp_path: Path) -> None:
    path = tmp_path / "large.yaml"
    path.write_text(SOUND + "#" * 1_000_000)
    with pytest.raises(EnvelopeError, match="1000000 bytes"):
        read(path, KINDS)


def test_every_fault_of_a_file_comes_in_one_pass() -> None:
    text = (
        SOUND.replace("flow: down", "flow: sideways")
        .replace("width: 27 1/4", "width: 27,25")
        .replace("blades: 6", "blads: 6")
        .replace("fitted: no", "fitted: maybe")
        .replace("3/8 right of centreline", "3/8 rihgt of centreline")
        .replace("tape: 1/16", "tape: wide")
        .replace("    height: 17\n", "")
    )
    error = faults_of(text)
    keys = {one.key for one in error.faults}
    assert keys == {
        "radiator.flow",
        "core support.opening.width",
        "fan.blads",
        "left puller.fitted",
        "water pump.place",
        "tape",
        "radiator.core.height",
    }
    assert [one.line for one in error.faults] == sorted(one.line for one in error.faults)


def test_an_unreadable_part_is_not_held_against_the_parts_that_name_it() -> None:
    error = faults_of(SOUND.replace("\nradiator:", "\nradiatr:"))
    assert [one.key for one in error.faults] == ["radiatr"]
    assert 'did you mean "radiator"' in error.faults[0].suggestion
