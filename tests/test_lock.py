"""The locked versions: complete, hashed, the same in every file, and tied to no package index."""

import re
import tomllib
from pathlib import Path

import pytest

import headfit

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOCK_FILES = ["uv.lock", "requirements.lock", "requirements-test.lock"]


def requirement_name(requirement: str) -> str:
    """Name in front of a requirement's bounds, as the lock spells it."""
    name = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert name is not None
    return re.sub(r"[-_.]+", "-", name.group()).lower()


def read_requirements(file: str) -> dict[tuple[str, str], set[str]]:
    """(name, version) -> hashes, of one exported file."""
    text = (ROOT / file).read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return {
        (line.split("==")[0], re.split(r"[\s;]", line.split("==")[1])[0]): set(
            re.findall(r"--hash=(sha256:[0-9a-f]{64})", line)
        )
        for line in lines
    }


def read_uv_lock() -> dict[tuple[str, str], set[str]]:
    """(name, version) -> hashes, of uv.lock without the project itself."""
    packages = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))["package"]
    return {
        (package["name"], package["version"]): {
            file["hash"] for file in [*package["wheels"], package.get("sdist")] if file
        }
        for package in packages
        if package["name"] != PROJECT["project"]["name"]
    }


@pytest.mark.parametrize("file", LOCK_FILES)
def test_a_lock_names_no_package_index(file: str) -> None:
    assert "://" not in (ROOT / file).read_text(encoding="utf-8")


def test_every_locked_package_has_the_hashes_that_were_resolved() -> None:
    resolved = read_uv_lock()
    locked = read_requirements("requirements-test.lock")
    assert locked == resolved
    assert all(locked.values())


def test_a_user_gets_the_versions_that_were_tested() -> None:
    tested = read_requirements("requirements-test.lock")
    used = read_requirements("requirements.lock")
    assert 0 < len(used) < len(tested)
    assert used.items() <= tested.items()


def test_the_lock_covers_all_that_the_project_asks_for() -> None:
    run = {name for name, _ in read_requirements("requirements.lock")}
    every = {name for name, _ in read_requirements("requirements-test.lock")}
    project, groups = PROJECT["project"], PROJECT["dependency-groups"]
    build = [*PROJECT["build-system"]["requires"], *groups["build"]]
    assert {requirement_name(line) for line in [*project["dependencies"], *build]} <= run
    extras = [line for extra in project["optional-dependencies"].values() for line in extra]
    assert {requirement_name(line) for line in [*groups["docs"], *groups["test"], *extras]} <= every


def test_the_citation_names_this_version() -> None:
    citation = (ROOT / "CITATION.cff").read_text(encoding="utf-8").splitlines()
    assert f"version: {headfit.__version__}" in citation
