"""What a file says of the shop itself: sheet, brake, printer, card."""

from __future__ import annotations

import jsonschema
import pytest

from noseroom.envelope.model import Shop
from noseroom.envelope.reader import json_schema, read_text
from noseroom.envelope.shop import SHOP_KEYS
from noseroom.errors import EnvelopeError
from noseroom.parts.registry import KINDS
from noseroom.units import MM_PER_INCH

_TEXT = "format: 1\nunits: in\nshop: {%s}\ncore support:\n  opening: {width: 27, height: 19}\n"


def shop(said: str) -> Shop:
    return read_text(_TEXT % said, KINDS).shop


def test_stock_is_sorted_and_each_thickness_once() -> None:
    assert shop("sheet: [1/8, 2 mm, 2 mm]").sheet_mm == pytest.approx((2.0, MM_PER_INCH / 8))


def test_a_bed_keeps_its_order() -> None:
    assert shop("bed: [250 mm, 210 mm, 220 mm]").bed_mm == (250.0, 210.0, 220.0)
    assert shop("card: 1/8, card size: [40, 28]").card_size_mm == pytest.approx((1016.0, 711.2))


def test_a_test_piece_gives_the_shops_own_k() -> None:
    assert shop("bend k: 0.42, bend radius: 3 mm").bend_k == 0.42
    assert shop("grade: 5").bend_k is None


def test_a_metal_is_named_as_its_table_has_it() -> None:
    assert shop("metal: 5052-h32 aluminium").metal == "5052-H32 aluminium"


@pytest.mark.parametrize(
    ("said", "key", "found", "expected"),
    [
        ("bed: [220 mm, 220 mm]", "shop.bed", "2 of them", "3 lengths"),
        ("card: [3 mm, 4 mm]", "shop.card", "2 of them", "one length"),
        ("bend k: 2", "shop.bend k", "2", "between 0.2 and 0.6"),
        ("bend k: about .4", "shop.bend k", "about .4", "between 0.2 and 0.6"),
        ("bend k: at least .4", "shop.bend k", "at least .4", "between 0.2 and 0.6"),
        ("bend k: [1]", "shop.bend k", "a list", "between 0.2 and 0.6"),
        ("metal: tin", "shop.metal", "tin", "5052-H32"),
        ("card: thick", "shop.card", "thick", "a length"),
        ("bed: [5 mm, 5 mm, 5 mm]", "shop.bed", "5 mm", "2 23/64 in"),
        ("cart: 3", "shop.cart", "unknown key", "card"),
    ],
)
def test_what_no_shop_has_is_a_fault_with_its_line(
    said: str, key: str, found: str, expected: str
) -> None:
    with pytest.raises(EnvelopeError) as caught:
        shop(said)
    for one in caught.value.faults:
        assert (one.line, one.key) == (3, key)
        assert found in one.found
        assert expected in one.expected


def test_the_editors_schema_knows_every_key() -> None:
    schema = json_schema(KINDS)
    whole = {
        "format": 1,
        "units": "mm",
        "shop": {
            "spacers": 50,
            "bolts": [60],
            "sheet": [2, 3],
            "bend radius": 3,
            "bend k": 0.4,
            "bed": [220, 220, 250],
            "card": 3,
            "card size": [1000, 700],
            "grade": "8.8",
            "metal": "6061-T6 aluminium",
        },
    }
    assert set(whole["shop"]) == set(SHOP_KEYS)  # type: ignore[call-overload]
    jsonschema.validate(whole, schema)


def test_every_fault_of_a_shop_is_said_in_one_pass() -> None:
    with pytest.raises(EnvelopeError) as caught:
        shop("metal: tin, sheet: two mm, bed: [180 mm], bend k: 9, spacers: [1]")
    keys = [one.key for one in caught.value.faults]
    assert sorted(keys) == ["shop.bed", "shop.bend k", "shop.metal", "shop.sheet"]
