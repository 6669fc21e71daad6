"""Prints a handout: tagged PDF/UA-1 on A4 or US Letter, body type 14 pt, one to three pages."""

from typing import Any

from django.template.loader import render_to_string

from clinic.common.print import Press, bytes_of, one_at_a_time, pages_of, press_for
from programmes.errors import HandoutTooLong
from programmes.handout import Handout
from programmes.packing import MOST_PAGES, Packed, packed

SHEETS = ("css/programme_handout.css", "css/programme_print.css")


def handout_pdf(handout: Handout) -> bytes:
    """The handout as PDF bytes. Raises HandoutTooLong, NotPrinted."""
    with one_at_a_time:
        return bytes_of(_laid_out(handout))


def _laid_out(handout: Handout) -> Any:
    pages = pages_of(handout_html(handout, packed(handout)), press_of(handout))
    if len(pages.pages) > MOST_PAGES:
        raise HandoutTooLong(len(pages.pages))
    return pages


def handout_html(handout: Handout, sheet: Packed) -> str:
    shown = {"handout": handout, "packed": sheet, "layout": sheet.layout}
    return render_to_string("programmes/handout_print.html", shown)


def press_of(handout: Handout) -> Press:
    return press_for(handout.people.paper_size, SHEETS)
