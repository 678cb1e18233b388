"""Fixtures: one browser for all tests, a tab and a started app for each."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser_tab import SIZE, SOFTWARE_GL, Tab, launch
from demo_case import TEXT
from playwright.sync_api import Browser, BrowserContext, Playwright, sync_playwright
from running_app import RunningApp, start_app


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
def running_app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningApp]:
    path = tmp_path_factory.mktemp("case") / "demo.toml"
    path.write_text(TEXT, encoding="utf-8")
    running = start_app(path)
    yield running
    running.kill()


@pytest.fixture
def app(running_app: RunningApp) -> RunningApp:
    """The app with the demo case on the desk as if just started; starting it takes seconds."""
    folder = Path(running_app.get("state")["folder"])
    for path in folder.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    (folder / "demo.toml").write_text(TEXT, encoding="utf-8")
    running_app.post("open", {"name": "demo.toml"})
    return running_app


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "demo.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path
