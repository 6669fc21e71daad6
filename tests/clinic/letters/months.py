"""A month of visits to compile letters of. All invented; days are those of last month."""

from datetime import date, timedelta
from typing import Any

from dateutil.relativedelta import relativedelta

from clinic.accounts.models import User
from clinic.clients.models import Episode, Referrer
from clinic.common.vocabulary import Phase
from clinic.letters.models import LetterRun, RunLetter
from clinic.letters.runs.compiling import compile_row
from clinic.letters.runs.services import start_run
from clinic.letters.runs.words import RowState
from measurements.models import Protocol
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
    today,
)
from tests.clinic.letters.stories import wider

MONTH = today().replace(day=1) - relativedelta(months=1)


def day_of_month(number: int) -> date:
    return MONTH + timedelta(days=number - 1)


def seen_in_month(
    therapist: User,
    referrer: Referrer,
    *,
    protocol: Protocol | None = None,
    fallen_cm: float = 0.8,
    **differences: Any,
) -> Episode:
    """Opened two months before the month, taped at the start and on the 10th of the month."""
    client = make_client(referrer=referrer, **differences)
    opened_on = MONTH - timedelta(days=60)
    episode = make_episode(client, therapist, opened_on=opened_on, phase=Phase.MAINTENANCE)
    protocol = protocol or make_protocol()
    for on, fallen in ((opened_on, 0.0), (day_of_month(10), fallen_cm)):
        make_session(
            episode,
            protocol,
            taken_on=on,
            is_baseline=on == opened_on,
            right_cm=wider(ARM_SWOLLEN_CM, -fallen),
            left_cm=ARM_OTHER_CM,
        )
    return episode


def month_of(count: int, therapist: User, referrer: Referrer) -> list[Episode]:
    protocol = make_protocol()
    return [seen_in_month(therapist, referrer, protocol=protocol) for _ in range(count)]


def compiled_run(by: User) -> LetterRun:
    """The run of the month with every letter compiled, as the worker does it."""
    run = start_run(month=MONTH, by=by)
    for row in run.rows.filter(state=RowState.OWED):
        compile_row(row_id=row.pk)
    return run


def row_of(run: LetterRun, episode: Episode) -> RunLetter:
    return RunLetter.objects.select_related("letter", "run").get(run=run, episode=episode)
