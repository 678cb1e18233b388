"""From the open case to a lesson on its head, in a window of its own."""

from __future__ import annotations

from browser_tab import Tab
from running_app import RunningApp

from headfit.files.lesson_file import lesson_names


def test_a_lesson_opens_on_the_open_case_and_is_walked(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    with tab.page.expect_popup() as caught:
        tab.page.click("button:has-text('Lessons')")
    lessons = Tab(caught.value)
    lessons.page.wait_for_selector(".lesson-door")
    assert "Demo: long narrow head" in lessons.page.inner_text("h1")
    doors = lessons.page.locator(".lesson-door").all()
    names = [door.get_attribute("data-lesson") for door in doors]
    assert names == [*lesson_names(), "quiz"]
    assert lessons.violations() == []
    for name in lesson_names():
        lessons.page.click(f"[data-lesson='{name}']")
        lessons.page.wait_for_selector(".caption")
        count = lessons.page.locator(".dots button").count()
        for k in range(1, count):
            lessons.page.keyboard.press("PageDown")
            assert lessons.page.evaluate("headfit.player.at") == k
        for k in range(count - 2, -1, -1):
            lessons.page.click(".tools .step:not(.next)")
            assert lessons.page.evaluate("headfit.player.at") == k
        lessons.page.click(".tools button:has-text('lessons')")
    lessons.page.click("[data-lesson='quiz']")
    lessons.page.wait_for_selector(".quiz .caption")
    lessons.page.click(".tools button:has-text('lessons')")
    assert lessons.page.locator(".lesson-door").count() == len(names)
    here = f"http://127.0.0.1:{app.port}/"
    assert all(url.startswith(here) for url in lessons.urls)
    assert not lessons.complaints
