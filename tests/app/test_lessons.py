"""Lessons on the case that is open in the app, asked as the page asks."""

from __future__ import annotations

from pathlib import Path

import pytest
from demo_case import DEMO
from starlette.testclient import TestClient

from headfit.app.desk import Desk
from headfit.app.server import make_app
from headfit.files.lesson_file import lesson, lesson_names
from headfit.output.lesson_page import lesson_data

KEY = {"Authorization": "Bearer key"}


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    path = tmp_path / "demo.toml"
    path.write_text(DEMO, encoding="utf-8")
    app = make_app(Desk.open(path), "key", ("127.0.0.1:8000",))
    return TestClient(app, base_url="http://127.0.0.1:8000", raise_server_exceptions=False)


def test_the_door_names_every_lesson_and_whose_head_it_is(client: TestClient) -> None:
    found = client.get("/api/lessons", headers=KEY).json()
    assert found["head_label"] == "Demo: long narrow head, doubtful inion"
    assert found["command"] == "headfit lesson NAME demo.toml -o NAME.html"
    assert [each["name"] for each in found["lessons"]] == list(lesson_names())
    assert all(each["title"] and each["about"] for each in found["lessons"])


def test_a_lesson_is_that_of_the_command_line(client: TestClient) -> None:
    answered = client.get("/api/lesson?name=ring", headers=KEY).json()
    assert answered == lesson_data(lesson("ring"))


def test_a_changed_case_has_other_numbers(client: TestClient) -> None:
    before = client.get("/api/lesson?name=midline", headers=KEY).json()["steps"][0]["caption"]
    revision = client.get("/api/revision", headers=KEY).json()["revision"]
    change = {"tape": {"nasion_inion": "35.4"}, "free": [{"site": "C3", "radius_mm": 12}]}
    answer = client.post("/api/change", json={"revision": revision, "change": change}, headers=KEY)
    assert answer.status_code == 200
    after = client.get("/api/lesson?name=midline", headers=KEY).json()
    assert ["36.6 cm", True] in before
    assert ["35.4 cm", True] in after["steps"][0]["caption"]
    assert "must stay free" in after["cautions"][0]


def test_a_quiz_has_the_open_head_first(client: TestClient) -> None:
    heads = client.get("/api/quiz", headers=KEY).json()["heads"]
    assert len(heads) == 6
    assert heads[0]["label"] == "Demo: long narrow head, doubtful inion"


def test_without_the_key_there_is_no_lesson_and_an_unknown_one_is_told(client: TestClient) -> None:
    assert client.get("/api/lesson?name=ring").status_code == 401
    answer = client.get("/api/lesson?name=rign", headers=KEY)
    assert answer.status_code == 422
    assert "did you mean 'ring'" in answer.json()["error"]
    assert client.get("/lesson.html").status_code == 200
