"""The pure packages work where Django cannot be had."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PURE_PACKAGES = ("measurements/limb", "programmes/body", "programmes/compression")
PURE_MODULES = ("clinic/common/vocabulary.py", "clinic/common/errors.py")
FILES = [
    *(ROOT / module for module in PURE_MODULES),
    *(path for package in PURE_PACKAGES for path in sorted((ROOT / package).rglob("*.py"))),
]
NAMES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in FILES
]
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"][
    "contracts"
]
PROMISED = next(each for each in CONTRACTS if each["name"].startswith("Pure"))["source_modules"]

# None in sys.modules makes every import of that name fail.
IN_A_BARE_INTERPRETER = """
import importlib, sys
sys.modules["django"] = None
sys.path.insert(0, sys.argv[1])
for name in sys.argv[2:]:
    importlib.import_module(name)
assert not [name for name in sys.modules if name.startswith("django.")]
"""


def _imported_bare(*names: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", IN_A_BARE_INTERPRETER, ROOT, *names],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("package", PURE_PACKAGES)
def test_a_pure_package_imports_without_django(package: str) -> None:
    own = [name for name in NAMES if name.startswith(package.replace("/", "."))]
    bare = _imported_bare(*own)
    assert own
    assert bare.returncode == 0, bare.stderr


def test_every_module_promised_pure_imports_without_django() -> None:
    bare = _imported_bare(*PROMISED)
    assert {"clinic.common.vocabulary", "clinic.visits.timing"} <= set(PROMISED)
    assert bare.returncode == 0, bare.stderr


def test_the_shared_words_and_errors_import_without_django() -> None:
    bare = _imported_bare("clinic.common.vocabulary", "clinic.common.errors")
    assert bare.returncode == 0, bare.stderr


def test_a_module_that_needs_django_would_be_found_out() -> None:
    assert _imported_bare("measurements.models").returncode != 0
