"""What one person can hold in the head: limits on files and functions."""

import ast
from pathlib import Path
from statistics import median

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = [
    path
    for folder in ("clinic", "measurements", "programmes")
    for path in (ROOT / folder).rglob("*.py")
    if "migrations" not in path.parts
]
FUNCTIONS = [
    (path.relative_to(ROOT), node.name, (node.end_lineno or 0) - node.lineno + 1)
    for path in SOURCES
    for node in ast.walk(ast.parse(path.read_text()))
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
]


@pytest.mark.parametrize("path", SOURCES, ids=str)
def test_no_module_passes_400_lines(path: Path) -> None:
    assert len(path.read_text().splitlines()) <= 400


def test_no_template_passes_120_lines() -> None:
    long = [
        path
        for path in (ROOT / "templates").rglob("*.html")
        if len(path.read_text().splitlines()) > 120
    ]
    assert not long


def test_functions_are_short() -> None:
    lengths = sorted(length for _, _, length in FUNCTIONS)
    # Counted with signature and docstring, which the limits of the body leave out.
    assert median(lengths) <= 12
    assert lengths[int(len(lengths) * 0.95)] <= 34
    assert not [named for named in FUNCTIONS if named[2] > 60]
