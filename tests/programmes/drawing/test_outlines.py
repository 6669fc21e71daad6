"""One definition a side; what the notes of the outlines say about them holds for our copy."""

import json
import subprocess
import sys

import pytest
from shapely.geometry import Polygon

from programmes.drawing.outlines import OUTLINES, outlines

WHOLE = ("front", "back", "head_front", "head_back")


def test_no_right_side_is_typed_in_the_file() -> None:
    text = OUTLINES.read_text(encoding="utf-8")
    assert "_R" not in text.replace("_R mirrored", "")
    assert '"_L' not in text


def test_the_licence_stands_in_the_file() -> None:
    assert "CC0 1.0" in json.loads(OUTLINES.read_text(encoding="utf-8"))["licence"]


@pytest.mark.parametrize("name", sorted(outlines()))
def test_every_figure_is_one_simple_shape(name: str) -> None:
    assert Polygon(outlines()[name].outline).is_valid


# "They tile the outline (cover over 98 % in whole-body views, at least 85 % elsewhere)": notes of
# the body outlines, table of fields. head_front leaves throat, eyes, ears and a scalp band blank.
@pytest.mark.parametrize(
    ("name", "share"), [(name, 0.98 if name in ("front", "back") else 0.85) for name in outlines()]
)
def test_the_regions_cover_the_figure_as_their_notes_say(name: str, share: float) -> None:
    shown = outlines()[name]
    covered = sum(Polygon(line).area for lines in shown.regions.values() for line in lines)
    assert covered / Polygon(shown.outline).area > share


@pytest.mark.parametrize("name", WHOLE)
def test_right_is_left_with_x_turned(name: str) -> None:
    shown = outlines()[name]
    for node, lines in shown.regions.items():
        if node.endswith("_L"):
            other = shown.regions[f"{node[:-2]}_R"]
            assert [[(-x, y) for x, y in line] for line in lines] == [list(line) for line in other]


def test_the_drawings_need_nothing_but_the_standard_library() -> None:
    blocked = "import sys\nfor name in ('django', 'networkx', 'numpy'): sys.modules[name] = None\n"
    code = f"{blocked}import programmes.drawing.picture"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
