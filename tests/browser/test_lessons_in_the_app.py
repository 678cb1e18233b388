"""From the open case to a lesson on its head, in a window of its own."""

from __future__ import annotations

from collections.abc import Callable

from browser_tab import Tab, swipe
from playwright.sync_api import CDPSession
from running_app import RunningApp

from headfit.files.lesson_file import lesson_names


def step(tab: Tab, touch: CDPSession, how: str, *, forward: bool) -> None:
    """One step by a hand; the window is 900 pixels wide."""
    if how == "swipes":  # over the caption, which the browser might take for a pan
        swipe(touch, *((500.0, 250.0) if forward else (250.0, 500.0)), height=40.0)
        return
    if forward and how != "taps":
        tab.page.keyboard.press("PageDown")
        return
    box = tab.page.locator(".tools .next" if forward else ".tools .step:not(.next)").bounding_box()
    assert box is not None
    place = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    if how == "taps":
        tab.page.touchscreen.tap(*place)
    else:
        tab.page.mouse.click(*place)


def test_every_lesson_opens_on_the_open_case_and_is_walked_by_keys_mouse_and_touch(
    open_tab: Callable[..., Tab], app: RunningApp
) -> None:
    tab = open_tab(has_touch=True, reduced_motion="reduce", viewport={"width": 900, "height": 600})
    tab.open_app(app)
    with tab.page.expect_popup() as caught:
        tab.page.click("button:has-text('Lessons')")
    lessons = Tab(caught.value)
    lessons.page.wait_for_selector(".lesson-door")
    touch = lessons.page.context.new_cdp_session(lessons.page)
    assert "Demo: long narrow head" in lessons.page.inner_text("h1")
    doors = lessons.page.locator(".lesson-door").all()
    names = [door.get_attribute("data-lesson") for door in doors]
    assert names == [*lesson_names(), "quiz"]
    assert lessons.violations() == []
    for name in lesson_names():
        lessons.page.click(f"[data-lesson='{name}']")
        lessons.page.wait_for_selector(".caption")
        count = lessons.page.locator(".dots button").count()
        # Taps at first: the browser takes one that follows a swipe at once for a stop of its way.
        ways = ["taps"] * (name == lesson_names()[0]) + ["keys, then mouse", "swipes"]
        for how in ways:
            for forward in (True, False):
                ends = range(1, count) if forward else range(count - 2, -1, -1)
                for k in ends:
                    step(lessons, touch, how, forward=forward)
                    lessons.until(f"headfit.player.at === {k} /* {name} by {how} */", 5.0)
        lessons.page.click(".tools button:has-text('lessons')")
    lessons.page.click("[data-lesson='quiz']")
    lessons.page.wait_for_selector(".quiz .caption")
    lessons.page.click(".tools button:has-text('lessons')")
    assert lessons.page.locator(".lesson-door").count() == len(names)
    here = f"http://127.0.0.1:{app.port}/"
    assert all(url.startswith(here) for url in lessons.urls)
    assert not lessons.complaints
