"""What the sign-in pages say."""

from datetime import datetime, timedelta

from django.utils import timezone
from django.utils.formats import date_format

from clinic.accounts.second_step import CodeAnswer
from clinic.accounts.services import ONE_TIME_HOURS

AGAIN = (
    " Wait for the next one and type that; if it fails again, check that the phone sets its clock"
    " by itself."
)
NOT_THE_CODE = f"That is not the code the app shows now.{AGAIN}"

ONE_TIME_WORDS = (
    f"It works once, within {ONE_TIME_HOURS} hours:"
    " the first page asks for a password of one's own."
)
SIGNED_OUT_BY_LOCK = (
    "Too many wrong passwords were typed for your name from here, so you are signed out. Wait 15"
    " minutes, then sign in, or ask the clinic lead."
)


def code_sentence(answer: CodeAnswer) -> str:
    """Why a code was not taken."""
    if answer.wait > timedelta(days=1):
        return "Too many wrong codes. Ask the clinic lead."
    if answer.wait > timedelta(0):
        return f"Too many wrong codes. Wait {wait_words(answer.wait)}, then type a new one."
    return f"That code does not fit, or was used before.{AGAIN}"


def one_time_over_sentence(until: datetime) -> str:
    """Why a one-time password, though right, opens nothing."""
    told = date_format(timezone.localtime(until), "DATETIME_FORMAT")
    return f"This one-time password was good until {told}. Ask the clinic lead for a new one."


def wait_words(wait: timedelta) -> str:
    seconds = max(1, round(wait.total_seconds()))
    if seconds < 90:
        return f"{seconds} second{'s' if seconds > 1 else ''}"
    return f"{round(seconds / 60)} minutes"
