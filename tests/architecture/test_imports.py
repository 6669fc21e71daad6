"""The layers hold, as pyproject.toml states them."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_apps_import_only_downwards_and_pure_packages_know_no_django() -> None:
    linted = subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert linted.returncode == 0, linted.stdout


def test_no_package_init_imports_anything() -> None:
    for init in ROOT.glob("[cmp]*/**/__init__.py"):
        assert "import " not in init.read_text().split('"""')[-1], init


def test_models_are_not_queried_in_views_forms_or_templates() -> None:
    for path in [*ROOT.glob("*/**/views*.py"), *ROOT.glob("*/**/forms*.py")]:
        if ".venv" in path.parts or "tests" in path.parts:
            continue
        assert ".objects" not in path.read_text(), path
