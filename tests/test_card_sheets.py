"""Card panels on sheets and in pictures: all of them, once, apart, with words that can be read."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from shapely import Polygon, box

from card_models import NAMES, SPACER, models, of_part, pickup
from noseroom.geometry.outlines import Circle
from noseroom.report.drawing_svg import text_boxes_of
from noseroom.report.drawing_text import text_width_mm
from noseroom.workshop.card_picture import KEY, SHEET_MM, assembly_sheets, order_of
from noseroom.workshop.card_sheets import sheets
from noseroom.workshop.card_stand_ins import card_stand_ins
from noseroom.workshop.card_stock import Card, CardError
from noseroom.workshop.dxf_files import check_dxf, write_dxf
from noseroom.workshop.figures import Figure, Label
from noseroom.workshop.mock_up_files import make_cards
from programs import page_count

MARGIN_MM, GAP_MM = 10.0, 5.0


def figures() -> list[Figure]:
    return [panel.figure for model in models().values() for panel in model.panels]


def outline(cut: object) -> Polygon:
    path = cut.as_path() if isinstance(cut, Circle) else cut
    return Polygon(path.sampled(0.05))  # type: ignore[attr-defined]


def region(figure: Figure) -> Polygon:
    whole = outline(figure.cuts[-1])
    for hole in figure.cuts[:-1]:
        whole = whole.difference(outline(hole))
    return whole


def words(label: Label) -> Polygon:
    """Round a text as tall as its capitals and as wide as it may turn out."""
    wide = text_width_mm(label.text, label.height_mm / 0.71)
    x, y = label.at
    if round(label.turn_deg) % 180 == 90:
        return box(x - label.height_mm, y - wide / 2, x, y + wide / 2)
    return box(x - wide / 2, y, x + wide / 2, y + label.height_mm)


@pytest.mark.parametrize("name", NAMES)
def test_words_lie_on_their_piece_and_apart(name: str) -> None:
    for panel in models()[name].panels:
        figure = panel.figure
        card = region(figure)
        boxes = [words(one) for one in figure.labels]
        assert all(card.contains(one) for one in boxes), figure.title
        assert all(not a.intersects(b) for a, b in combinations(boxes, 2)), figure.title
        said = " ".join([*(one.text for one in figure.labels), *figure.notes])
        for word in (str(panel.order), panel.name.split(",")[0], *(k for k, _ in panel.letters)):
            assert word in said, figure.title


@pytest.mark.parametrize("size", [(1000.0, 700.0), (700.0, 500.0)])
def test_every_piece_is_on_a_sheet_once_inside_its_margins_and_apart(
    size: tuple[float, float],
) -> None:
    card = Card(sheet_mm=size)
    laid = sheets(figures(), card)
    areas = sorted(abs(one.area_mm2) for sheet in laid for one in sheet.cuts)
    asked = sorted(abs(cut.area_mm2) for one in figures() for cut in one.cuts)
    assert areas == pytest.approx(asked, abs=1e-6)
    for sheet in laid:
        shapes = [outline(one) for one in sheet.cuts]
        inside = box(MARGIN_MM, MARGIN_MM, size[0] - MARGIN_MM, size[1] - MARGIN_MM).buffer(0.01)
        assert all(inside.contains(one) for one in shapes)
        pieces = [one for one in shapes if not any(b.contains(one) for b in shapes if b is not one)]
        for a, b in combinations(pieces, 2):
            assert a.distance(b) >= GAP_MM - 0.01
        assert sheet.box() == pytest.approx((0.0, 0.0, *size))
    used = sum(region(one).area for one in figures())
    assert len(laid) <= 2 * used / (size[0] * size[1]) + 2


def test_the_same_pieces_make_the_same_sheets_in_any_order() -> None:
    pieces = figures()
    assert sheets(pieces, Card()) == sheets(pieces[::-1], Card())


def test_a_piece_larger_than_the_sheet_says_by_how_much_and_what_would_do() -> None:
    """The condenser's faces are 533.4 x 355.6 mm: with 10 mm all round, 554 x 376 mm."""
    small = Card(sheet_mm=(500.0, 400.0))
    with pytest.raises(CardError, match=r"533 x 356 mm.*480 x 380 mm.*554 x 376 mm would do"):
        sheets(figures(), small)


def test_sheets_are_cutting_files(tmp_path: Path) -> None:
    """Written as DXF they come back as drawn."""
    for number, sheet in enumerate(sheets(figures(), Card())):
        path = tmp_path / f"{number}.dxf"
        write_dxf(sheet, path)
        check_dxf(path, sheet)


def test_the_same_nose_gives_the_same_panels() -> None:
    again = card_stand_ins(pickup(), spacers={"spacer": SPACER})
    assert [panel.figure for one in again for panel in one.panels] == figures()


@pytest.mark.parametrize("name", NAMES)
def test_the_picture_numbers_panels_and_says_the_order(name: str) -> None:
    model = models()[name]
    pages = assembly_sheets(model)
    assert pages == assembly_sheets(model)
    said = " ".join(text for page in pages for text in ET.fromstring(page).itertext())
    flat = " ".join(said.split())
    for line in (*order_of(model), *model.notes):
        assert line in flat
    for page in pages:
        texts = text_boxes_of(page)
        for _, x0, y0, x1, y1 in texts:
            assert box(0.0, 0.0, *SHEET_MM).contains(box(x0, y0, x1, y1))
        for a, b in combinations(texts, 2):
            apart = a[1] >= b[3] or b[1] >= a[3] or a[2] >= b[4] - 0.9 or b[2] >= a[4] - 0.9
            assert apart, (a, b)


@pytest.mark.parametrize("name", NAMES)
def test_no_sentence_is_torn_over_two_columns(name: str) -> None:
    """Each caution, note and step stands in one column, its lines under one another."""
    model = models()[name]
    texts = [one for page in assembly_sheets(model) for one in text_boxes_of(page)]
    for said in (KEY, *order_of(model), *model.notes):
        first = next(k for k in range(len(texts)) if joined(texts, k, said))
        column, y = texts[first][1], texts[first][2]
        for text, x0, y0, _, _ in texts[first : first + joined(texts, first, said)]:
            assert x0 == column, text
            assert y0 >= y
            y = y0


def joined(texts: list[tuple[str, float, float, float, float]], start: int, said: str) -> int:
    """How many texts from one on make up a sentence; 0 where they do not."""
    for count in range(1, 12):
        if " ".join(one[0] for one in texts[start : start + count]) == " ".join(said.split()):
            return count
    return 0


def test_many_words_go_onto_more_sheets() -> None:
    """A condenser with wide headers and long ones has more panels than one sheet has lines for."""
    from noseroom.parts.condenser import Condenser

    part = Condenser(
        core_width_mm=900.0,
        core_height_mm=790.0,
        core_thickness_mm=30.0,
        header_diameter_mm=60.0,
    )
    model = of_part(part)
    pages = assembly_sheets(model)
    assert len(pages) >= 2
    said = " ".join(" ".join(ET.fromstring(page).itertext()) for page in pages)
    assert all(line in " ".join(said.split()) for line in order_of(model))


def test_on_small_sheets_what_does_not_fit_is_refused_and_the_rest_written(tmp_path: Path) -> None:
    """On sheets of 520 x 460 mm the condenser's faces have no room; all else has."""
    envelope = pickup().envelope
    small = replace(envelope, shop=replace(envelope.shop, card_size_mm=(520.0, 460.0)))
    layout = replace(pickup(), envelope=small)
    shares = []
    for name in ("first", "again"):
        (tmp_path / name).mkdir()
        shares.append(make_cards(layout, {"fan spacer": SPACER}, lambda *_: None, tmp_path / name))
    assert shares[0] == shares[1]
    share = shares[0]
    assert len(share.refused) == 1
    assert "condenser" in share.refused[0]
    assert "would do" in share.refused[0]
    said = " ".join(one.item for one in share.rows)
    assert all(name in said for name in ("drier", "fan", "compressor", "fan spacer"))
    assert any(one.endswith(".dxf") for one in share.names)
    for paper in ("a4", "letter"):
        name = f"templates-{paper}.pdf"
        count = page_count(tmp_path / "first" / "mockups" / "card" / name)
        assert any(f"{count} sheets ({name})" in one for one in share.remarks)
    assert any("assembly" in one for one in share.names)
    for one in share.names:
        assert (tmp_path / "first" / one).read_bytes() == (tmp_path / "again" / one).read_bytes()
