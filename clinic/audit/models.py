"""One line for each look at, or change of, a client's record."""

import pgtrigger
from django.conf import settings
from django.db import models

from clinic.common.triggers import no_truncate


class Entry(models.Model):
    """Who did what to which client's record, and when. Never changed, never deleted."""

    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    verb = models.CharField(max_length=40)
    client = models.ForeignKey("clients.Client", models.PROTECT, null=True, related_name="+")
    subject = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["client", "-at"], name="audit_by_client")]
        triggers = [
            pgtrigger.Protect(name="append_only", operation=pgtrigger.Update | pgtrigger.Delete),
            no_truncate("no_truncate"),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by} {self.verb}"
