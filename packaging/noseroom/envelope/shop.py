"""What `shop` may say: the builder's own shelf, and what the shop's tools can do."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from noseroom.envelope.model import Shop
from noseroom.envelope.suggest import described
from noseroom.envelope.values import BadValueError, from_units
from noseroom.errors import UnitsError
from noseroom.units import read_number


@dataclass(frozen=True, slots=True)
class Lengths:
    """A key that takes lengths. field: of `Shop`. low, high: mm, of each.

    count: how many there have to be, in their order; 0 for any number, each once and sorted.
    """

    field: str
    help: str
    low: float
    high: float
    example: tuple[str, ...]
    count: int = 0


SHOP_LENGTHS: Mapping[str, Lengths] = {
    "spacers": Lengths("spacers_mm", "thicknesses of spacers", 3.0, 100.0, ("1", "1 1/2", "2")),
    "bolts": Lengths("bolts_mm", "lengths of bolts, under the head", 5.0, 250.0, ("2 1/2", "3")),
    "sheet": Lengths("sheet_mm", "thicknesses of sheet metal", 0.5, 10.0, ("2 mm", "3 mm")),
    "bend radius": Lengths(
        "bend_radius_mm", "inside radius that the brake's nose leaves", 0.2, 30.0, ("3 mm",), 1
    ),
    "bed": Lengths(
        "bed_mm",
        "what the printer holds: width, depth, height",
        60.0,
        2000.0,
        ("220 mm", "220 mm", "250 mm"),
        3,
    ),
    "card": Lengths("card_mm", "thickness of the card for mock-ups", 0.8, 20.0, ("3 mm",), 1),
    "card size": Lengths(
        "card_size_mm",
        "width and height of a sheet of card",
        150.0,
        4000.0,
        ("1000 mm", "700 mm"),
        2,
    ),
}

BEND_K = "bend k"
_K = (0.2, 0.6)
SHOP_KEYS = (*SHOP_LENGTHS, "grade", "metal", BEND_K)


def read_k(value: Any) -> float:
    """The shop's own neutral factor, from bending a test piece. Raises BadValueError."""
    wanted = f"a plain number between {_K[0]:g} and {_K[1]:g}, from a test piece"
    if not isinstance(value, str):
        raise BadValueError(described(value), wanted)
    try:
        read = read_number(value)
    except UnitsError as error:
        raise from_units(error, wanted) from None
    if read.bound or read.about or read.half_width is not None:
        raise BadValueError(described(value), wanted, "give the figure alone")
    if not _K[0] <= read.value <= _K[1]:
        raise BadValueError(described(value), wanted)
    return read.value


def shop_of(
    given: Mapping[str, Any],
    read: Callable[[tuple[str | int, ...], str, tuple[float, float]], float | None],
    wrong_count: Callable[[tuple[str | int, ...], str, str], None],
) -> Shop:
    """What the builder's own shelf has: lengths in the file's unit.

    read: a length by its path, text and limits, None where it is a fault. wrong_count: told of a
    list of another length than asked, as path, found and expected.
    """
    found: dict[str, Any] = {}
    for key, one in SHOP_LENGTHS.items():
        texts = given.get(key, ())
        path = ("shop", key)
        values = [
            read((*path, number), text, (one.low, one.high)) for number, text in enumerate(texts)
        ]
        good = tuple(value for value in values if value is not None)
        if not one.count:
            found[one.field] = tuple(sorted(set(good)))
        elif texts and len(texts) != one.count:
            asked = "one length" if one.count == 1 else f"{one.count} lengths"
            wrong_count(path, f"{len(texts)} of them", f"{asked} ({one.help})")
        elif len(good) == one.count:
            found[one.field] = good
    words = {name: given[name] for name in ("grade", "metal") if given.get(name)}
    return Shop(**found, **words, bend_k=given.get(BEND_K))
