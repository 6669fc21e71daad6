"""Keeps the clinic's own periods of keeping."""

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.keeping.models import RetentionRule


@transaction.atomic
def save_retention_rule(*, rule: RetentionRule, by: User) -> RetentionRule:
    """Keep changed periods; nothing is erased by it."""
    rule.full_clean()
    rule.save()
    audit.record(by, "retention.kept", subject=rule)
    return rule
