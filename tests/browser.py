"""A headless Chromium for tests of pages, without a network and without a screen."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
NEED = "NOSEROOM_NEED_BROWSER"
"""Set to 1, a missing browser is an error and no reason to skip."""

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--enable-unsafe-swiftshader",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _missing(what: str) -> None:
    if os.environ.get(NEED) == "1":
        pytest.fail(f"{what}, and {NEED} is 1", pytrace=False)
    pytest.skip(what)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """One browser for the whole session; skips where there is none."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("playwright is not installed")
    program = next((found for name in PROGRAMS if (found := shutil.which(name))), None)
    if program is None:
        _missing("no Chromium on the PATH")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        yield browser
        browser.close()


@contextmanager
def opened(
    chromium: Any, file: Path, *, width: int = 1280, height: int = 900, **options: Any
) -> Iterator[tuple[Any, list[str]]]:
    """A page from a file address with the network off, and all that went wrong on it so far."""
    context = chromium.new_context(
        viewport={"width": width, "height": height}, offline=True, **options
    )
    page, wrong = context.new_page(), []
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("requestfailed", lambda request: wrong.append(f"asked for {request.url[:80]}"))
    page.on(
        "request",
        lambda request: (
            None
            if request.url.startswith(("file:", "blob:"))
            else wrong.append(f"asked for {request.url[:80]}")
        ),
    )
    page.on("dialog", lambda dialog: (wrong.append(f"dialog {dialog.message}"), dialog.dismiss()))
    try:
        page.goto(file.as_uri())
        yield page, wrong
    finally:
        context.close()
