"""page.html in a browser: from a file address, with the network off, wide and narrow."""

from __future__ import annotations

import base64
import dataclasses
import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from browser import opened
from noseroom.findings import Verdict
from noseroom.report import page_file
from test_demos import Run
from test_page import EVIL, pair, result_for, sheets, small_nose
from test_page import pickup as pickup

PICTURE = """() => {
  const canvas = document.getElementById('canvas'), flat = document.createElement('canvas');
  flat.width = 160; flat.height = 110;
  const pen = flat.getContext('2d');
  pen.drawImage(canvas, 0, 0, 160, 110);
  return btoa(String.fromCharCode(...pen.getImageData(0, 0, 160, 110).data));
}"""
SETTLED = "() => document.getElementById('said').textContent !== ''"
TEXTS = """() => {
  const skipped = 'script, style, title, desc, option, .heard, .skip';
  const found = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const channel = (v) => v / 255 <= 0.04045 ? v / 255 / 12.92 : ((v / 255 + 0.055) / 1.055) ** 2.4;
  const light = (c) => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const numbers = (text) => (text.match(/[\\d.]+/g) || [0, 0, 0, 0]).map(Number);
  while (walk.nextNode()) {
    const node = walk.currentNode, owner = node.parentElement;
    if (!node.textContent.trim() || owner.closest(skipped)) continue;
    if (!owner.checkVisibility()) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const svg = owner.ownerSVGElement, style = getComputedStyle(owner);
    let size = parseFloat(style.fontSize);
    if (svg) { const m = owner.getScreenCTM(); size *= Math.hypot(m.a, m.b); }
    let back = null;
    for (let up = owner; up && !back; up = up.parentElement) {
      const colour = numbers(getComputedStyle(up).backgroundColor);
      if (colour.length < 4 || colour[3] > 0.5) back = colour;
    }
    const ink = light(numbers(style.color)), paper = light(back || [255, 255, 255]);
    const frame = owner.closest('.sheet, #stage, #view');
    const rects = svg ? [owner.getBoundingClientRect()] : [...range.getClientRects()];
    for (const r of rects) if (r.width && r.height) found.push({
      text: node.textContent.trim().slice(0, 40), size,
      contrast: svg ? null : (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05),
      frame: frame ? frame.id || frame.getAttribute('aria-label') : '',
      box: [r.left, r.top, r.right, r.bottom], upright: svg && r.height > 1.5 * r.width,
    });
  }
  return found;
}"""
CONTROLS = """() => [...document.querySelectorAll(
  'a[href], button, input, select, summary, [tabindex="0"]')].filter((e) => e.checkVisibility())
  .map((e, i) => {
    e.dataset.seen = i;
    const label = e.closest('label') || (e.labels && e.labels[0]);
    const by = (e.getAttribute('aria-labelledby') || '').split(' ').filter(Boolean)
      .map((id) => document.getElementById(id).textContent).join(' ');
    const name = e.getAttribute('aria-label') || by || (label && label.textContent)
      || e.textContent || '';
    const held = e.type === 'checkbox' ? label : e;
    return { name: name.trim(), tag: e.tagName, high: held.getBoundingClientRect().height,
             of: e.className };
  })"""


def frame(page: Any) -> bytes:
    """The picture as it is drawn, small; what has been asked for is drawn by the next frame.

    Red, green, blue and how solid, dot after dot.
    """
    page.evaluate(
        "() => new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))"
    )
    return base64.b64decode(page.evaluate(PICTURE))


def changed(before: bytes, after: bytes) -> int:
    """How many of 17,600 dots differ clearly."""
    return sum(
        max(abs(before[i + k] - after[i + k]) for k in range(3)) > 24
        for i in range(0, len(before), 4)
    )


@pytest.fixture(params=[1280, 390])
def seen(request: pytest.FixtureRequest, chromium: Any, pickup: Run) -> Iterator[Any]:
    """The pickup's page; whatever goes wrong on it fails the test. Motion is off: no waiting."""
    narrow = request.param < 600
    with opened(
        chromium,
        pickup.folder / "page.html",
        width=request.param,
        height=844 if narrow else 900,
        has_touch=narrow,
        reduced_motion="reduce",
    ) as (page, wrong):
        page.wait_for_function(SETTLED)
        yield page
        page.wait_for_timeout(50)
        assert not wrong


def set_range(page: Any, selector: str, value: float) -> None:
    page.evaluate(
        "([selector, value]) => { const it = document.querySelector(selector); it.value = value;"
        " it.dispatchEvent(new Event('input', {bubbles: true}));"
        " it.dispatchEvent(new Event('change', {bubbles: true})); }",
        [selector, value],
    )


def tick_of(page: Any, part: str) -> Any:
    """The box that shows and hides a part in the 3-D view."""
    return (
        page.locator("#parts-box label.tick")
        .filter(has_text=re.compile(f"^{part}$"))
        .locator("input")
    )


def unfold(page: Any) -> None:
    page.evaluate(
        "() => document.querySelectorAll('details').forEach((one) => { one.open = true })"
    )


def test_the_3d_view_is_drawn(seen: Any) -> None:
    picture = frame(seen)
    colours = {tuple(picture[i : i + 3]) for i in range(0, len(picture), 4)}
    paper = max(colours, key=lambda one: one[0] + one[1] + one[2])
    drawn = sum(
        max(abs(picture[i + k] - paper[k]) for k in range(3)) > 24
        for i in range(0, len(picture), 4)
    )
    assert len(colours) > 50
    assert drawn > 0.15 * len(picture) / 4


def test_parts_can_be_hidden_and_shown_alone_and_by_group(seen: Any) -> None:
    before = frame(seen)
    box = tick_of(seen, "condenser")
    box.uncheck()
    hidden = frame(seen)
    assert changed(before, hidden) > 500
    assert "hidden" in seen.locator("#said").text_content()
    box.check()
    assert changed(before, frame(seen)) == 0
    seen.locator("button[aria-label='On the body: hide all']").click()
    assert not tick_of(seen, "radiator").is_checked()
    assert changed(before, frame(seen)) > 500
    seen.locator("button[aria-label='On the body: show all']").click()
    assert changed(before, frame(seen)) == 0


def test_cutting_planes_move_turn_round_and_go(seen: Any) -> None:
    unfold(seen)
    for axis in "xyz":
        seen.locator("[data-view=left]" if axis != "y" else "[data-view=front]").click()
        before = frame(seen)
        slide = f"[data-slide={axis}]"
        low, high = (float(seen.locator(slide).get_attribute(end)) for end in ("min", "max"))
        set_range(seen, slide, round(low + 0.4 * (high - low)))
        cut = frame(seen)
        said = seen.locator(f"[data-read={axis}]").text_content()
        assert seen.locator(f"[data-cut={axis}]").is_checked()
        assert changed(before, cut) > 100
        set_range(seen, slide, round(low + 0.6 * (high - low)))
        assert changed(cut, frame(seen)) > 100
        assert seen.locator(f"[data-read={axis}]").text_content() != said
        seen.locator(f"[data-flip={axis}]").check()
        assert changed(cut, frame(seen)) > 100
        seen.locator(f"[data-cut={axis}]").uncheck()
        assert changed(before, frame(seen)) == 0


def test_a_cut_leaves_a_hatched_face_where_a_solid_was(seen: Any) -> None:
    """Seen square on, its cut covers as much as the radiator: it is closed, not hollow."""
    unfold(seen)
    seen.locator("button[aria-label='On the engine: hide all']").click()
    seen.locator("button[aria-label='Fan and hub: hide all']").click()
    seen.locator("button[aria-label='On the body: hide all']").click()
    tick_of(seen, "radiator").check()
    seen.locator("[data-view=left]").click()
    whole = frame(seen)
    set_range(seen, "[data-slide=y]", 0)
    cut = frame(seen)
    paper = whole[:3]

    def covered(picture: bytes) -> int:
        return sum(
            max(abs(picture[i + k] - paper[k]) for k in range(3)) > 24
            for i in range(0, len(picture), 4)
        )

    assert covered(cut) > 0.9 * covered(whole)
    assert changed(whole, cut) > 0.3 * covered(whole)


def test_an_answers_button_moves_the_view_to_its_place(seen: Any) -> None:
    shown = 0
    for button in seen.locator("button.show").all():
        if not button.is_visible():
            continue
        before = frame(seen)
        button.click()
        after = frame(seen)
        shown += 1
        assert changed(before, after) > 100
        names = button.text_content().split(": ")[-1]
        assert names.split(", ")[-1] in seen.locator("#said").text_content()
        ring = seen.locator("#overlay .ring")
        if ring.count():
            stage = seen.locator("#stage").bounding_box()
            spot = ring.bounding_box()
            for start, extent in (("x", "width"), ("y", "height")):
                middle = stage[start] + stage[extent] / 2
                assert abs(spot[start] + spot[extent] / 2 - middle) < 4
            assert seen.locator(".callout.chosen").is_visible()
            top = stage["y"]
            assert -2 <= top < seen.viewport_size["height"]
        assert seen.evaluate("document.activeElement.id") == "stage"
        if shown == 4:
            break
    assert shown == 4


def test_going_to_a_place_undoes_what_would_hide_it(seen: Any) -> None:
    unfold(seen)
    tick_of(seen, "compressor").uncheck()
    set_range(seen, "#apart", 100)
    seen.locator("[data-flip=x]").check()
    set_range(seen, "[data-slide=x]", -200)
    seen.locator("#finding-2 button.show").click()
    said = seen.locator("#said").text_content()
    assert "compressor is shown again" in said
    assert "put together" in said
    assert "cut that hid it is off" in said
    assert tick_of(seen, "compressor").is_checked()
    assert not seen.locator("[data-cut=x]").is_checked()
    assert seen.locator("#apart").input_value() == "0"
    seen.locator("#back").click()
    assert seen.evaluate("document.activeElement.closest('article').id") == "finding-2"


def test_a_figure_in_the_picture_leads_to_its_place(seen: Any) -> None:
    frame(seen)
    label = seen.locator(".callout:visible").first
    name = label.get_attribute("aria-label")
    label.click()
    names = name.split(": ")[0].split(", ")[1]
    assert names in seen.locator("#said").text_content()
    frame(seen)
    assert seen.locator("#overlay .ring").count() == 1


BOXES = """() => [...document.querySelectorAll('.callout, .lens button, #overlay text')]
  .filter((e) => e.checkVisibility()).map((e) => {
    const r = e.getBoundingClientRect();
    return [r.left, r.top, r.right, r.bottom, e.textContent];
  })"""


def test_no_figure_lies_over_another_from_anywhere_and_none_is_lost(seen: Any, pickup: Run) -> None:
    numbered = sum(
        one.verdict not in (Verdict.FITS, Verdict.NOT_KNOWN) and bool(one.points)
        for one in pickup.result.findings
    )
    for view in ("grille", "front", "left", "right", "top", "rear"):
        seen.locator(f"[data-view={view}]").click()
        for key in ("", "+", "ArrowLeft"):
            if key:
                seen.locator("#stage").press(key)
            frame(seen)
            boxes = seen.evaluate(BOXES)
            stage = seen.locator("#stage").bounding_box()
            assert any("in" in one[4] for one in boxes)
            for index, a in enumerate(boxes):
                assert a[0] >= stage["x"] - 1
                assert a[2] <= stage["x"] + stage["width"] + 1
                for b in boxes[index + 1 :]:
                    assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3], (a, b)
            dots = seen.locator("#overlay .dot").count()
            shown = seen.locator(".callout:visible").count()
            said = seen.locator("#left-out").text_content()
            assert dots == numbered or key
            assert (f"{dots - shown} figure" in said) if dots > shown else not said


def test_no_text_is_small_or_faint_and_none_lies_over_another(seen: Any) -> None:
    """Contrast as WCAG 2.2 defines it, success criterion 1.4.3: at least 4.5 to 1 (from memory)."""
    unfold(seen)
    frame(seen)
    assert seen.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    texts = seen.evaluate(TEXTS)
    assert len(texts) > 300
    assert not [one for one in texts if one["size"] < 12]
    assert not [one for one in texts if one["contrast"] is not None and one["contrast"] < 4.5]
    frames: dict[str, list[tuple[float, float, float, float, str]]] = {}
    for one in texts:
        x0, y0, x1, y1 = one["box"]
        # A line's box has room for accents above and below its letters.
        dx, dy = (0.2 * (x1 - x0), 1.0) if one["upright"] else (1.0, 0.2 * (y1 - y0))
        box = (x0 + dx, y0 + dy, x1 - dx, y1 - dy, one["text"])
        frames.setdefault(one["frame"], []).append(box)
    for boxes in frames.values():
        boxes.sort(key=lambda box: box[1])
        for index, a in enumerate(boxes):
            for b in boxes[index + 1 :]:
                if b[1] >= a[3]:
                    break
                assert a[0] >= b[2] or b[0] >= a[2], (a, b)


def test_every_control_has_a_name_a_size_and_its_turn_with_the_tab_key(seen: Any) -> None:
    unfold(seen)
    controls = seen.evaluate(CONTROLS)
    assert len(controls) > 60
    assert not [one for one in controls if not one["name"]]
    narrow = seen.viewport_size["width"] < 600
    for one in controls:
        # A wide window is pointed at with a mouse: links in lists and figures may be lower there.
        small = not narrow and (one["of"] == "line" or "callout" in one["of"])
        assert one["high"] >= (23.5 if small else 43.5), one
    seen.evaluate("() => { document.activeElement.blur(); window.scrollTo(0, 0); }")
    reached = set()
    for _ in range(len(controls) + 5):
        seen.keyboard.press("Tab")
        number, outline = seen.evaluate(
            "[document.activeElement.dataset.seen,"
            " parseFloat(getComputedStyle(document.activeElement).outlineWidth)]"
        )
        reached.add(number)
        assert outline >= 2 or number is None
    missing = [i for i in range(len(controls)) if str(i) not in reached]
    assert not [controls[i] for i in missing]


def test_the_keyboard_alone_does_it_all(seen: Any) -> None:
    stage = seen.locator("#stage")
    button = seen.locator("#finding-2 button.show")
    button.focus()
    before = frame(seen)
    seen.keyboard.press("Enter")
    pictures = [before, frame(seen)]
    assert stage.evaluate("e => e === document.activeElement")
    for key in ("ArrowLeft", "ArrowUp", "Shift+ArrowRight", "+", "-", "Escape", "0"):
        seen.keyboard.press(key)
        pictures.append(frame(seen))
    for earlier, later in itertools.pairwise(pictures):
        assert changed(earlier, later) > 50
    tick = tick_of(seen, "radiator")
    tick.focus()
    seen.keyboard.press("Space")
    assert not tick.is_checked()
    assert changed(pictures[-1], frame(seen)) > 50
    seen.locator("#cuts-box summary").focus()
    seen.keyboard.press("Enter")
    seen.locator("[data-slide=y]").focus()
    said = seen.locator("[data-read=y]").text_content()
    seen.keyboard.press("ArrowRight")
    assert seen.locator("[data-read=y]").text_content() != said
    assert seen.locator("[data-cut=y]").is_checked()


def test_hands_turn_the_view_and_it_can_be_taken_apart(seen: Any) -> None:
    unfold(seen)
    seen.locator("#stage").scroll_into_view_if_needed()
    before = frame(seen)
    box = seen.locator("#stage").bounding_box()
    x, y = box["x"] + 0.1 * box["width"], box["y"] + 0.1 * box["height"]
    seen.mouse.move(x, y)
    seen.mouse.down()
    seen.mouse.move(x + 60, y + 30, steps=4)
    seen.mouse.up()
    turned = frame(seen)
    assert changed(before, turned) > 200
    set_range(seen, "#apart", 100)
    assert changed(turned, frame(seen)) > 300
    assert seen.locator(".callout:visible").count() == 0
    assert "not marked" in seen.locator("#left-out").text_content()
    set_range(seen, "#apart", 0)
    frame(seen)
    assert seen.locator(".callout:visible").count() > 0


def test_answers_can_be_filtered_and_lead_to_their_readings(seen: Any, pickup: Run) -> None:
    seen.locator("#by-verdict").select_option("fits")
    fits = len(pickup.result.of(Verdict.FITS))
    assert seen.locator("article.card:visible").count() == fits
    seen.locator("#by-verdict").select_option("")
    seen.locator("#by-part").select_option("compressor")
    of = sum("compressor" in one.parts for one in pickup.result.findings)
    assert seen.locator("article.card:visible").count() == of
    assert str(of) in seen.locator("#filter-said").text_content()
    seen.locator("#by-part").select_option("")
    card = seen.locator("#finding-2")
    card.locator("summary").click()
    link = card.locator("a.line").first
    link.click()
    row = seen.locator(link.get_attribute("href"))
    seen.wait_for_timeout(50)
    assert row.is_visible()
    assert row.locator("td").first.text_content() == link.text_content().removeprefix("line ")


def test_drawings_scroll_grow_and_can_be_looked_through(seen: Any) -> None:
    figure = seen.locator("#drawing-front")
    sheet = figure.locator(".sheet svg")
    before = sheet.bounding_box()["width"]
    figure.get_by_role("button", name="larger").click()
    assert sheet.bounding_box()["width"] > 1.2 * before
    for _ in range(4):
        figure.get_by_role("button", name="smaller").click()
    assert sheet.bounding_box()["width"] >= before - 1
    with seen.context.expect_page() as opening:
        figure.get_by_role("button", name="Open alone").click()
    alone = opening.value
    alone.wait_for_load_state()
    assert alone.locator("svg > title").count() == 1
    alone.close()
    figure.locator("summary").click()
    box = figure.locator("label.tick").filter(has_text=re.compile("^condenser$")).locator("input")
    box.check()
    assert sheet.locator("g.hidden-line", has=seen.locator("title", has_text="condenser")).count()


def test_on_paper_everything_is_unfolded_and_nothing_is_a_control(seen: Any) -> None:
    seen.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    seen.emulate_media(media="print", reduced_motion="reduce")
    assert seen.locator("details:not([open])").count() == 0
    assert not [
        one for one in seen.locator("button.show, .controls, nav").all() if one.is_visible()
    ]
    assert seen.locator("#canvas").is_visible()
    texts = seen.evaluate(TEXTS)
    assert min(one["size"] for one in texts) >= 12
    seen.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    assert seen.locator("details:not([open])").count() > 0


def test_without_webgl_all_the_rest_is_there(chromium: Any, pickup: Run) -> None:
    with opened(chromium, Path("/dev/null")) as (page, wrong):
        page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
        page.goto((pickup.folder / "page.html").as_uri())
        assert page.locator("#no-view").is_visible()
        assert not page.locator("#viewer").is_visible()
        assert not page.locator("button.show:visible").count()
        assert page.locator("article.card").count() == len(pickup.result.findings)
        page.locator("#by-verdict").select_option("fouls")
        assert not wrong


def test_without_scripts_every_answer_can_be_read(chromium: Any, pickup: Run) -> None:
    with opened(chromium, pickup.folder / "page.html", java_script_enabled=False) as (page, _):
        assert page.locator("#no-view").is_visible()
        worst = [one for one in pickup.result.findings if one.verdict is not Verdict.FITS]
        assert page.locator("article.card:visible").count() == len(worst)
        drawn = len(list(pickup.folder.glob("*.svg")))
        assert drawn > 3
        assert page.locator(".sheet svg").count() == drawn


def test_hostile_words_are_shown_and_not_run(chromium: Any, tmp_path: Path) -> None:
    layout, bodies = small_nose(tmp_path)
    finding = pair(Verdict.TOO_CLOSE, 4.0, note=EVIL)
    evil = dataclasses.replace(finding, parts=("core support", "radiator"))
    result = result_for(layout, evil, title=EVIL)
    file = tmp_path / "page.html"
    file.write_text(page_file.page(result, layout, bodies, sheets(layout, result)), "utf-8")
    with opened(chromium, file) as (page, wrong):
        page.wait_for_function(SETTLED)
        page.locator("button.show").first.click()
        assert page.locator("h1").text_content().startswith("<script>alert(1)")
        assert not wrong
