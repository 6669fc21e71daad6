"""Errors a person can mend. Pure: standard library only.

An error carries data; the sentence is made where it is shown (`sentences.py` of each app).
"""


class RuleBroken(Exception):
    """Something a person can mend. Shown beside the field named by `field`, or above the form."""

    field: str | None = None
