"""Any valid file is taken: a thousand generated ones are read, adjusted, laid out and, some, built.

Two generators, for two dangers. `strategies` writes every key of every kind in every spelling, but
its places contradict one another, so those files are read and their parts made without placing
them. `true_noses` writes readings of noses that could stand in a workshop; those are adjusted.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from noseroom.envelope.model import Envelope
from noseroom.envelope.reader import read_text
from noseroom.errors import SurveyError
from noseroom.layout import arrange
from noseroom.parts.registry import KINDS, PARTS
from strategies import random_envelope_text
from true_noses import EVERYTHING, TrueNose

READ, ADJUSTED = 880, 120
BATCHES = 10


def unplaced(envelope: Envelope) -> Envelope:
    """The same without what its sentences say of places, which nothing true stands behind."""
    parts = {name: replace(one, place=()) for name, one in envelope.parts.items()}
    return replace(envelope, parts=parts)


@pytest.mark.parametrize("batch", range(BATCHES))
def test_a_file_with_any_keys_in_any_spelling_is_read_and_laid_out(batch: int) -> None:
    for seed in range(batch * READ // BATCHES, (batch + 1) * READ // BATCHES):
        envelope = read_text(random_envelope_text(random.Random(seed), KINDS), KINDS)
        if seed % 20:
            continue  # reading is what differs; placing is the same for all
        layout = arrange(unplaced(envelope))
        for part in layout.parts.values():
            assert np.isfinite(part.pose).all(), (seed, part.name)


@pytest.mark.parametrize("batch", range(BATCHES))
def test_a_file_of_a_nose_that_can_stand_is_adjusted_whatever_was_measured(batch: int) -> None:
    """Any parts, any tape, noise, things left unread: never refused, nothing contradicted."""
    for seed in range(batch * ADJUSTED // BATCHES, (batch + 1) * ADJUSTED // BATCHES):
        rng = random.Random(10_000 + seed)
        unread = frozenset(one for one in ("turns", "centring") if rng.random() < 0.5)
        nose = TrueNose(
            rng,
            half_mm=rng.choice((0.5, 1.0, 1.6)),
            half_deg=rng.choice((0.1, 0.5)),
            noisy=True,
            unread=unread,
            extras=[one for one in EVERYTHING if rng.random() < 0.4],
        )
        layout = arrange(read_text(nose.text(), KINDS))
        assert all(part.known for part in layout.parts.values()), seed
        assert not layout.survey.broken_bounds, seed


def complaint(envelope: Envelope) -> SurveyError | None:
    """What is said against the places of a file, if anything."""
    try:
        arrange(envelope)
    except SurveyError as error:
        return error
    return None


def test_whoever_strikes_out_the_lines_that_are_named_gets_on() -> None:
    """Sentences between any features make no sense together; each message names what to strike."""
    settled = 0
    for seed in (1, 3, 8, 9, 10, 11, 12):  # those that contradict themselves soonest
        text = random_envelope_text(random.Random(20_000 + seed), KINDS)
        envelope = read_text(text, KINDS)
        while (error := complaint(envelope)) is not None:
            said = {one.line for part in envelope.parts.values() for one in part.place}
            assert said & set(error.lines), (seed, str(error), error.lines)
            if "line " in str(error):
                break  # they contradict one another, which would be struck out one by one
            parts = {
                name: replace(
                    part, place=tuple(one for one in part.place if one.line not in error.lines)
                )
                for name, part in envelope.parts.items()
            }
            envelope = replace(envelope, parts=parts)
        settled += error is None
    assert settled >= 4


def test_every_solid_of_a_generated_nose_is_valid() -> None:
    for seed in range(12):
        rng = random.Random(30_000 + seed)
        extras = [one for one in EVERYTHING if rng.random() < 0.4]
        nose = TrueNose(rng, noisy=True, half_mm=1.0, half_deg=0.2, extras=extras)
        for name, placed in arrange(read_text(nose.text(), KINDS)).parts.items():
            for component, solid in placed.part.solids().items():
                assert solid.isValid(), (seed, name, component)
                assert solid.Volume() > 0.0
            if name == "string":
                assert not placed.part.solids()


def test_every_kind_of_part_is_among_the_generated_files() -> None:
    texts = [random_envelope_text(random.Random(seed), KINDS) for seed in range(40)]
    kinds = {one.kind for text in texts for one in read_text(text, KINDS).parts.values()}
    assert kinds == set(PARTS)
