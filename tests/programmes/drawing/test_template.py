"""The SVG is well formed, keeps to the content policy, and prints without a warning."""

import logging
import re
from collections.abc import Iterator
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string
from pypdf import PdfReader
from weasyprint import HTML

from clinic.common.vocabulary import Basin, Region, RegionSide, Side
from programmes.body.planner import plan
from programmes.body.situation import Affected, Options, Situation
from programmes.body.territory import territory_map
from programmes.drawing.picture import drawings_of

NAMES = {place.id: place.plain for place in territory_map().places.values()}
SITUATIONS = [
    Situation(
        (Affected(Region.ARM, RegionSide.RIGHT),),
        basins_not_working=frozenset({(Basin.AXILLA, Side.RIGHT)}),
        options=Options(helper_available=True),
    ),
    Situation(
        (Affected(Region.LEG, RegionSide.LEFT),),
        basins_not_working=frozenset({(Basin.GROIN, Side.LEFT)}),
        options=Options(helper_available=True),
    ),
    Situation((Affected(Region.HEAD_NECK, RegionSide.MIDLINE),)),
]


def pictures(situation: Situation) -> list[str]:
    return [
        render_to_string("programmes/_drawing.html", {"drawing": drawing})
        for step in plan(situation).steps
        for drawing in drawings_of(step, NAMES)
    ]


def alternatives(element: Any) -> Iterator[str]:
    """Alternate texts in a tree of PDF structure elements (ISO 32000-1, 14.9.3)."""
    element = element.get_object()
    if isinstance(element, dict):
        if "/Alt" in element:
            yield str(element["/Alt"])
        yield from alternatives(element["/K"]) if "/K" in element else ()
    elif isinstance(element, list):
        for child in element:
            yield from alternatives(child)


@pytest.mark.parametrize("situation", SITUATIONS)
def test_each_step_of_a_programme_is_well_formed_svg_with_a_name(situation: Situation) -> None:
    for svg in pictures(situation):
        root = ElementTree.fromstring(svg[svg.index("<svg") :])
        title = root.findtext("{http://www.w3.org/2000/svg}title")
        assert root.get("role") == "img"
        assert title
        assert title in root.get("aria-label", "")


def test_no_picture_carries_a_style_a_script_or_an_id() -> None:
    for svg in pictures(SITUATIONS[0]):
        assert not re.search(r"<script|\sstyle=|\sid=|\son\w+=|href=", svg)


def test_every_picture_has_a_light_ground_of_its_own() -> None:
    assert all('fill="#ffffff"' in svg for svg in pictures(SITUATIONS[2]))


def test_numbers_have_at_most_one_decimal_and_no_comma_of_a_locale() -> None:
    for svg in pictures(SITUATIONS[0]):
        for data in re.findall(r' d="([^"]+)"', svg):
            assert re.fullmatch(r"(M(-?\d+\.\d,-?\d+\.\d ?)+z?)+", data)


def test_a_tagged_print_reads_the_picture_out() -> None:
    (drawing,) = drawings_of(plan(SITUATIONS[0]).steps[0], NAMES)
    svg = render_to_string("programmes/_drawing.html", {"drawing": drawing})
    page = f"<html lang=en><title>x</title><body>{svg}</body></html>"
    pdf = HTML(string=page).write_pdf(pdf_variant="pdf/ua-1")
    tree = PdfReader(BytesIO(pdf)).trailer["/Root"]["/StructTreeRoot"]
    assert list(alternatives(tree)) == [f"{drawing.title}. {drawing.description}"]


def test_a_programme_prints_without_a_warning(caplog: pytest.LogCaptureFixture) -> None:
    page = "".join(pictures(SITUATIONS[0]))
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        pdf = HTML(string=f"<html lang=en><title>x</title>{page}</html>").write_pdf()
    assert pdf.startswith(b"%PDF")
    assert not caplog.records
