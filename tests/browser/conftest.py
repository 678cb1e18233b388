"""Fixtures: one browser for all tests, a tab and a started app for each."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser_tab import SIZE, SOFTWARE_GL, Tab, launch
from demo_case import TEXT
from playwright.sync_api import Browser, BrowserContext, Playwright, sync_playwright
from running_app import RunningApp, running


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    running = launch(playwright, *SOFTWARE_GL)
    yield running
    running.close()


@pytest.fixture
def open_tab(browser: Browser) -> Iterator[Callable[..., Tab]]:
    """Make tabs; each must end without a complaint."""
    contexts: list[BrowserContext] = []
    tabs: list[Tab] = []

    def make(*, context: BrowserContext | None = None, **options: object) -> Tab:
        if context is None:
            settings = {"viewport": {"width": SIZE[0], "height": SIZE[1]}, **options}
            context = browser.new_context(**settings)  # type: ignore[arg-type]
            contexts.append(context)
        tab = Tab(context.new_page())
        tabs.append(tab)
        return tab

    yield make
    for tab in tabs:
        assert not tab.complaints
    for context in contexts:
        context.close()


@pytest.fixture
def tab(open_tab: Callable[..., Tab]) -> Tab:
    return open_tab()


@pytest.fixture(scope="session")
def started_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningApp]:
    path = tmp_path_factory.mktemp("case") / "demo.toml"
    path.write_text(TEXT, encoding="utf-8")
    with running(path) as started:
        yield started


@pytest.fixture
def app(started_app: RunningApp) -> RunningApp:
    """The app with the demo case on the desk as if just started; starting it takes seconds."""
    return started_app.restarted(TEXT)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "demo.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path
