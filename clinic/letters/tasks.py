"""What the worker does. Jobs carry row numbers and moments, no word of a client."""

from datetime import datetime
from uuid import UUID

from procrastinate import JobContext, RetryStrategy
from procrastinate.contrib.django import app

from clinic.letters.runs.compiling import DATABASE_AWAY, compile_row
from clinic.letters.runs.services import COMPILE_TASK, QUEUE
from clinic.letters.sending.errors import MailSilent
from clinic.letters.sending.mail import MAIL_PRIORITY, mail_batch
from clinic.letters.sending.selectors import MAIL_TASK

# A job of a worker that has not been heard of for so long is given to another.
SILENT_S = 15.0
# Waits of 4, 16, 64 and 256 seconds: a restart of the database fits in.
WHEN_DATABASE_AWAY = RetryStrategy(
    max_attempts=4, exponential_wait=4, retry_exceptions=DATABASE_AWAY
)


@app.task(name=COMPILE_TASK, queue=QUEUE, retry=WHEN_DATABASE_AWAY)
def compile_letter(*, row_id: str) -> None:
    compile_row(row_id=UUID(row_id))


# Nothing was handed over to a silent server: it is tried again as after a restart of the database.
WHEN_SILENT = RetryStrategy(
    max_attempts=4, exponential_wait=4, retry_exceptions=[*DATABASE_AWAY, MailSilent]
)


@app.task(name=MAIL_TASK, queue=QUEUE, retry=WHEN_SILENT, priority=MAIL_PRIORITY)
def mail_letters(*, batch_id: str, by_id: int, asked_at: str) -> None:
    mail_batch(batch_id=UUID(batch_id), by_id=by_id, asked_at=datetime.fromisoformat(asked_at))


@app.periodic(cron="* * * * * */10")
@app.task(name="letters.take_up_stalled", queue=QUEUE, pass_context=True, priority=10)
async def take_up_stalled(context: JobContext, timestamp: int) -> None:
    """Put the jobs of killed workers back on the queue."""
    manager = context.app.job_manager
    for job in await manager.get_stalled_jobs(queue=QUEUE, seconds_since_heartbeat=SILENT_S):
        await manager.retry_job(job)
