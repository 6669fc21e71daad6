"""The projection of standings: what a list of everybody reads instead of 1.3 million girths.

It can be dropped and rebuilt (`manage.py rebuild_standings`), and is compared with what the girths
say by `manage.py verify_standings`. Nothing signed or sent rests on it.
"""

from django.db import models

from clinic.clients.models import Episode
from clinic.common.choices import choices_of
from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Verdict

VERDICTS = choices_of(Verdict)


def _number() -> models.FloatField:
    return models.FloatField(null=True)


def _verdict() -> models.CharField:
    return models.CharField(max_length=17, choices=VERDICTS, blank=True)


class KeptStanding(models.Model):
    """`measurements.standing.Standing` of one kind of limb in one episode, as a row.

    `points` are [day, mL] pairs. Columns of a change are empty together.
    """

    episode = models.ForeignKey(Episode, models.CASCADE, related_name="standings")
    limb = models.CharField(max_length=3, choices=choices_of(Limb))
    session_id = models.UUIDField()
    taken_on = models.DateField()
    affected = models.CharField(max_length=5, choices=choices_of(Side), blank=True)
    is_bilateral = models.BooleanField()
    side = models.CharField(max_length=5, choices=choices_of(Side), blank=True)
    is_excess = models.BooleanField()
    value_ml = _number()
    error_ml = _number()
    percent = _number()
    verdict = _verdict()
    before_on = models.DateField(null=True)
    before_ml = _number()
    before_error_ml = _number()
    before_verdict = _verdict()
    baseline_on = models.DateField(null=True)
    baseline_ml = _number()
    baseline_error_ml = _number()
    baseline_verdict = _verdict()
    relative_percent = _number()
    relative_error = _number()
    is_sudden_rise = models.BooleanField()
    both_rose = models.BooleanField()
    points = models.JSONField()

    class Meta:
        ordering = ["episode", "limb"]
        constraints = [
            models.UniqueConstraint(fields=["episode", "limb"], name="standing_once_per_limb")
        ]

    def __str__(self) -> str:
        return f"{self.limb} as of {self.taken_on:%Y-%m-%d}"
