"""Keep what people typed out of logs and error reports."""

import logging
from typing import Any

from django.http import HttpRequest
from django.views.debug import SafeExceptionReporterFilter


class NoContent(SafeExceptionReporterFilter):
    """Error reports without form content, local variables or cookies."""

    def is_active(self, request: HttpRequest | None) -> bool:
        return True

    def get_post_parameters(self, request: HttpRequest | None) -> dict[str, Any]:
        return {}

    def get_traceback_frame_variables(
        self, request: HttpRequest | None, tb_frame: Any
    ) -> list[tuple[str, Any]]:
        return []


class NoContentInLogs(logging.Filter):
    """Drops the text of an exception (it may quote a client's data), keeps its type and place."""

    def filter(self, record: logging.LogRecord) -> bool:
        if record.exc_info and record.exc_info[1]:
            kind, _, trace = record.exc_info
            while trace and trace.tb_next:
                trace = trace.tb_next
            place = f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}" if trace else "?"
            name = getattr(kind, "__name__", "error")
            record.msg, record.args = f"{record.getMessage()} [{name} at {place}]", ()
            record.exc_info = record.exc_text = None
        return True
