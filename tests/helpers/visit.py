"""A page in a browser that has no network, and everything that it asked for or complained about."""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

PHONE = {"width": 360, "height": 740}
DESK = {"width": 1360, "height": 900}


@contextmanager
def launched() -> Iterator[Any]:
    """Yield a browser; for system tests only, which are skipped where there is no driver."""
    sync_api = pytest.importorskip("playwright.sync_api")
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


class Visit:
    """A page opened without a network, and everything that it asked for or complained about."""

    def __init__(self, browser: Any, file: Path, *, fragment: str = "", **options: Any) -> None:
        options = {"viewport": DESK, **options}
        self.context = browser.new_context(offline=True, **options)
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("console", lambda m: self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("dialog", lambda d: self.complaints.append(f"dialog {d.message}"))
        self.url = file.as_uri()
        self.page.goto(self.url + fragment)
        self.page.wait_for_timeout(150)

    def __enter__(self) -> Visit:
        return self

    def __exit__(self, *exception: object) -> None:
        self.context.close()

    def accessibility_violations(self) -> list[tuple[str, list[str]]]:
        """Return what axe finds: rule and up to three places; needs ``bypass_csp=True``."""
        axe = pytest.importorskip("axe_playwright_python.sync_playwright")
        found = axe.Axe().run(self.page).response["violations"]
        return [(v["id"], [n["html"][:90] for n in v["nodes"]][:3]) for v in found]

    def beyond(self, inside: str) -> list[str]:
        """Return what sticks out of the window to the right, except inside of ``inside``."""
        found: list[str] = self.page.evaluate(
            """(inside) => [...document.querySelectorAll('main *, header *')].filter(e =>
                 e.getBoundingClientRect().right > innerWidth + 1
                 && !e.closest(inside)).map(e => e.outerHTML.slice(0, 80))""",
            inside,
        )
        return found
