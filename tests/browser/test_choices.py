"""What the page asks before it decides for a person."""

from __future__ import annotations

from pathlib import Path

from browser_tab import Tab
from demo_case import TEXT
from dirty_marks import dirty_marks
from running_app import RunningApp


def test_saving_over_a_file_that_was_changed_offers_to_keep_both(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    tab.page.fill("#m-ring", "57.0")
    tab.until("headfit.app.state.case.tape.ring == '57.0' && headfit.app.changes.idle")
    case = Path(app.get("state")["folder"]) / "demo.toml"
    theirs = TEXT + "\n# edited by another program\n"
    case.write_text(theirs, encoding="utf-8")
    tab.page.get_by_role("button", name="Save", exact=True).click()
    tab.page.get_by_role("button", name="Save mine as demo-2.toml").click()
    tab.until("headfit.app.state.file == 'demo-2.toml' && headfit.app.state.saved")
    assert case.read_text(encoding="utf-8") == theirs
    assert "57" in case.with_name("demo-2.toml").read_text(encoding="utf-8")


def test_files_outside_the_folder_of_the_case_are_read_when_the_user_says_so(
    tab: Tab, app: RunningApp
) -> None:
    tab.open_app(app)
    folder = Path(app.get("state")["folder"])
    (folder.parent / "marks.tsv").write_text(dirty_marks(), encoding="utf-8")
    (folder / "sent.toml").write_text(f'{TEXT}\n[marks]\nfile = "../marks.tsv"\n', encoding="utf-8")
    tab.page.get_by_role("button", name="Open", exact=True).click()
    tab.page.get_by_role("button", name="sent.toml").click()
    tab.page.get_by_role("button", name="Read them").click()
    tab.until("headfit.app.state.elsewhere.length == 0 && headfit.app.state.scene.arrows.length")
    assert app.get("state")["case"]["marks"] == "marks.tsv"
