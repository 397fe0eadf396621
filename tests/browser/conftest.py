"""A real browser for the page tests, which sees everything that a page should not do."""

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

CHROMIUM_FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-quic",
]


@pytest.fixture(scope="session")
def chromium():
    from playwright import sync_api as playwright

    names = ("chromium", "chromium-browser", "google-chrome")
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.fail("No Chromium on this machine: install it, on Debian with apt install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=CHROMIUM_FLAGS)
        yield browser
        browser.close()


@dataclass
class Visit:
    """A page being used, with everything that it should not have done."""

    page: object
    errors: list
    requests: list

    def assert_clean(self):
        assert self.errors == []
        assert self.requests == []


@pytest.fixture
def visit(chromium):
    """Open a file in a fresh browser context and watch for errors and for requests that leave."""
    contexts = []

    def open_page(path: Path, size, **options):
        context = chromium.new_context(**size, **options)
        contexts.append(context)
        page = context.new_page()
        seen = Visit(page, [], [])
        page.on("pageerror", lambda error: seen.errors.append(str(error)))
        page.on(
            "console",
            lambda said: (
                seen.errors.append(said.text) if said.type in ("error", "warning") else None
            ),
        )
        page.on(
            "request",
            lambda asked: (
                None
                if asked.url.startswith(("file:", "data:", "blob:"))
                else seen.requests.append(asked.url)
            ),
        )
        page.goto(path.as_uri())
        return seen

    yield open_page
    for context in contexts:
        context.close()


SERIOUS = ("serious", "critical")


@pytest.fixture
def axe_findings():
    """Name each serious finding of axe-core on a page, with the elements that have it."""
    from axe_playwright_python import sync_playwright as axe

    def findings(page):
        violations = axe.Axe().run(page).response["violations"]
        return [
            f"{one['id']}: {', '.join(node['html'][:80] for node in one['nodes'])}"
            for one in violations
            if one["impact"] in SERIOUS
        ]

    return findings
