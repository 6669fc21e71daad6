"""What invented clients ask about their own record."""

from typing import Any

from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from clinic.demo import scenario
from clinic.demo.stage import Stage
from clinic.exchange.services import requests

COPY_ASKED, OPEN_ASKED = -9, -20
ANSWERED_ASKED, ANSWERED = -40, -33


def ask_about_records(stage: Stage) -> None:
    """A copy that waits, a correction that waits and one that was made."""
    keys = [story.client_id for story in scenario.stories()[:3]]
    first, second, third = (Client.objects.get(pk=key) for key in keys)
    by = stage.cast.lead
    with stage.on(COPY_ASKED) as day:
        copy = CopyRequest(asked_by="the client", identity="photo card, seen at the desk")
        copy.asked_on, copy.with_accesses = day, True
        requests.ask_copy(client=first, request=copy, by=by)
    with stage.on(OPEN_ASKED) as day:
        asked = _correction("My first visit is noted a week too late.", "Write the right day.")
        asked.asked_on = day
        requests.ask_correction(client=second, request=asked, by=by)
    with stage.on(ANSWERED_ASKED) as day:
        answered = _correction("My street has changed its name.", "Write the new one.")
        answered.asked_on = day
        requests.ask_correction(client=third, request=answered, by=by)
    _answer(answered, stage, by)


def _correction(claimed_wrong: str, wished: str) -> CorrectionRequest:
    return CorrectionRequest(asked_by="the client", claimed_wrong=claimed_wrong, wished=wished)


def _answer(asked: CorrectionRequest, stage: Stage, by: Any) -> None:
    with stage.on(ANSWERED) as day:
        requests.answer_correction(
            request=asked,
            on=day,
            is_accepted=True,
            answer="The address is corrected. Thank you for telling us.",
            by=by,
        )
