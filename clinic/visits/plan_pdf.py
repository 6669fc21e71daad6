"""Prints a plan of care: one tagged page, PDF/UA-1, with lines for both signatures."""

from typing import Any

from django.template.loader import render_to_string

from clinic.accounts.models import PaperSize
from clinic.common.print import bytes_of, one_at_a_time, pages_of, press_for
from clinic.visits.plan_errors import PlanTooLong
from clinic.visits.plan_sheet import PlanSheet

SHEETS = ("css/plan_print.css",)

# Tried in this order until the plan fits on one page.
TYPE_SIZES = ("", "paper-close", "paper-close paper-compact")


def plan_pdf(sheet: PlanSheet) -> bytes:
    """The plan as PDF bytes. Raises PlanTooLong, NotPrinted."""
    with one_at_a_time:
        return bytes_of(_laid_out(sheet))


def check_fits(sheet: PlanSheet) -> None:
    """Raise PlanTooLong where the plan needs more than a page; NotPrinted without the library."""
    with one_at_a_time:
        _laid_out(sheet)


def _laid_out(sheet: PlanSheet) -> Any:
    press = press_for(PaperSize(sheet.practice["paper_size"]), SHEETS)
    pages: Any = None
    for type_size in TYPE_SIZES:
        pages = pages_of(plan_html(sheet, type_size), press)
        if len(pages.pages) == 1:
            return pages
    raise PlanTooLong(len(pages.pages))


def plan_html(sheet: PlanSheet, type_size: str = "") -> str:
    return render_to_string("visits/plan_print.html", {"sheet": sheet, "type_size": type_size})
