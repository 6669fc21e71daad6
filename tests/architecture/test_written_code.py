"""Formatting and lint are checked by tools, not by people."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = Path(sys.executable).parent


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "format", "--check", "."],
        ["ruff", "check", "."],
        ["djlint", "templates", "--lint", "--quiet"],
    ],
    ids=" ".join,
)
def test_the_tools_find_nothing(command: list[str]) -> None:
    ran = subprocess.run(
        [str(TOOLS / command[0]), *command[1:]],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.django_db
def test_models_and_migrations_agree() -> None:
    ran = subprocess.run(
        [sys.executable, "manage.py", "makemigrations", "--check", "--dry-run", "--skip-checks"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout


def test_the_top_level_holds_what_the_guide_says() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    names = {line.split("/")[0] for line in listed if not line.startswith(".")}
    assert names == {
        "README.md",
        "DEVELOPERS.md",
        "manage.py",
        "pyproject.toml",
        "clinic",
        "measurements",
        "programmes",
        "templates",
        "static",
        "fixtures",
        "tests",
    }
