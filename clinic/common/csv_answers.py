"""A CSV file as the answer to a request."""

from django.http import HttpResponse

from clinic.common.csv_files import SIGNATURE

CONTENT_TYPE = "text/csv; charset=utf-8"


def csv_answer(name: str) -> HttpResponse:
    """A download called `name`, still without a row; `csv.writer` writes into it."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(SIGNATURE, content_type=CONTENT_TYPE, headers=headers)
