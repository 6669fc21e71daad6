"""The front desk of the demo posts what was approved; the latest letters still wait."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, time, timedelta
from uuid import UUID

from django.utils import timezone

from clinic.demo.clock import clock_at, moment_of, working_day
from clinic.demo.stage import Stage
from clinic.letters.sending.selectors import Wanted, letters_to_send
from clinic.letters.sending.services import Chosen, confirm_sent, make_batch
from clinic.letters.sending.ways import Output

PRINTED_AT = time(16, 0)
POSTED_AT = time(16, 40)
# Calendar days: letters approved since then wait on the list.
STILL_WAITING = 10


def post_letters(stage: Stage) -> None:
    """Batches of the letters approved long enough ago, each within three days of its approval."""
    by = stage.cast.front_desk
    by_day: dict[date, list[UUID]] = defaultdict(list)
    for letter in letters_to_send(by, Wanted()).letters:
        approved_on = timezone.localdate(letter.approved_at)
        if approved_on < stage.today - timedelta(days=STILL_WAITING):
            by_day[approved_on].append(letter.id)
    for approved_on, letter_ids in sorted(by_day.items()):
        _post(letter_ids, approved_on, stage)


def _post(letter_ids: Iterable[UUID], approved_on: date, stage: Stage) -> None:
    by = stage.cast.front_desk
    posted_on = working_day(approved_on, 3)
    with clock_at(moment_of(posted_on, PRINTED_AT)):
        batch = make_batch(chosen=Chosen(tuple(letter_ids), Output.PRINT), by=by)
    with clock_at(moment_of(posted_on, POSTED_AT)):
        ids = list(batch.sendings.values_list("pk", flat=True))
        confirm_sent(batch=batch, sending_ids=ids, by=by)
