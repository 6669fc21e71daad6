"""Prints the client's own copy of the record, and the answer to a correction: PDF/UA-1."""

from io import BytesIO
from typing import Any

from django.template.loader import render_to_string
from pypdf import PdfWriter

from clinic.accounts.models import PaperSize, Practice
from clinic.clients.record_requests import CorrectionRequest
from clinic.common.print import bytes_of, one_at_a_time, pages_of, press_for
from clinic.exchange.selectors.own_record import OwnCopy

STYLES = ("css/own_copy_print.css",)


def own_copy_pdf(copy: OwnCopy) -> bytes:
    """The record in plain words, as long as it is. Raises NotPrinted."""
    return _printed("exchange/own_copy_print.html", {"copy": copy}, copy.practice)


def answer_pdf(request: CorrectionRequest, practice: Practice) -> bytes:
    """The answer to a correction asked for, for the client to take. Raises NotPrinted."""
    context = {"request": request, "practice": practice}
    return _printed("exchange/correction_print.html", context, practice)


def joined_sheets(sheets: list[bytes]) -> bytes:
    """Sheets as they were given, in one file for the printer."""
    writer, out = PdfWriter(), BytesIO()
    for sheet in sheets:
        writer.append(BytesIO(sheet))
    writer.compress_identical_objects()
    writer.write(out)
    return out.getvalue()


def _printed(template: str, context: dict[str, Any], practice: Practice) -> bytes:
    press = press_for(PaperSize(practice.paper_size), STYLES)
    with one_at_a_time:
        return bytes_of(pages_of(render_to_string(template, context), press))
