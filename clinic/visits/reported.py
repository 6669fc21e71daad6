"""Up to which day an episode's treatment days are reported to the payer."""

import pgtrigger
from django.conf import settings
from django.db import models

from clinic.clients.models import Episode
from clinic.common.triggers import no_truncate


class ProgressReported(models.Model):
    """The last day that one approved progress report covers. Kept as the report is: for good."""

    episode = models.ForeignKey(Episode, models.PROTECT, related_name="reported")
    until_on = models.DateField()
    noted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    noted_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["until_on", "pk"]
        triggers = [
            pgtrigger.Protect(name="reported_stays", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_reported_truncate"),
        ]

    def __str__(self) -> str:
        return f"reported until {self.until_on:%Y-%m-%d}"
