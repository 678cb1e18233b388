"""From the open case to a lesson on its head, in a window of its own."""

from __future__ import annotations

from collections.abc import Callable

from browser_tab import Tab, swipe
from running_app import RunningApp

from headfit.files.lesson_file import lesson_names


def middle(tab: Tab, selector: str) -> tuple[float, float]:
    box = tab.page.locator(selector).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_every_lesson_opens_on_the_open_case_and_is_walked_by_keys_mouse_and_touch(
    open_tab: Callable[..., Tab], app: RunningApp
) -> None:
    tab = open_tab(has_touch=True, reduced_motion="reduce")
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
        ahead, behind = (
            middle(lessons, f".tools .step{which}") for which in (".next", ":not(.next)")
        )
        mouse, finger, press = (
            lessons.page.mouse.click,
            lessons.page.touchscreen.tap,
            lessons.page.keyboard.press,
        )
        ways: dict[str, tuple[Callable[[], object], Callable[[], object]]] = {
            "keys": (lambda: press("PageDown"), lambda: press("PageUp")),
            "mouse": (lambda: mouse(*ahead), lambda: mouse(*behind)),
            "taps": (lambda: finger(*ahead), lambda: finger(*behind)),
            "swipes": (
                lambda: swipe(touch, 500.0, 250.0, 40.0),
                lambda: swipe(touch, 250.0, 500.0, 40.0),
            ),
        }
        for how, (forward, back) in ways.items():
            for go, steps in ((forward, range(1, count)), (back, range(count - 2, -1, -1))):
                for k in steps:
                    go()
                    lessons.until(f"headfit.player.at === {k} /* {name} by {how} */", 5.0)
        lessons.page.click(".tools button:has-text('lessons')")
    lessons.page.click("[data-lesson='quiz']")
    lessons.page.wait_for_selector(".quiz .caption")
    lessons.page.click(".tools button:has-text('lessons')")
    assert lessons.page.locator(".lesson-door").count() == len(names)
    here = f"http://127.0.0.1:{app.port}/"
    assert all(url.startswith(here) for url in lessons.urls)
    assert not lessons.complaints
