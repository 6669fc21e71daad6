"""Who looked at or changed a client's record, what it said before, and the chain over both."""

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Func, Q

from clinic.common.triggers import no_truncate


def kept() -> list[pgtrigger.Trigger]:
    """Triggers of a table that is only ever added to."""
    return [
        pgtrigger.Protect(name="append_only", operation=pgtrigger.Update | pgtrigger.Delete),
        no_truncate("no_truncate"),
    ]


def chained(column: str) -> pgtrigger.Trigger:
    """Puts each new row in the queue of what the chain takes up.

    At COMMIT, and through a queue: the queue's own trigger then runs after every other check of
    the transaction, so that nobody waits for a row while holding the chain's lock. A row restored
    together with its link is left alone.
    """
    return pgtrigger.Trigger(
        name="to_chain",
        level=pgtrigger.Row,
        when=pgtrigger.After,
        operation=pgtrigger.Insert,
        timing=pgtrigger.Deferred,
        func=f"""
            IF NOT EXISTS (SELECT FROM audit_link WHERE {column} = NEW.id) THEN
                INSERT INTO audit_unchained ({column}) VALUES (NEW.id);
            END IF;
            RETURN NULL;
        """,  # noqa: S608
    )


def act_of_now() -> Func:
    """One value for everything written in one transaction of the database."""
    return Func(function="audit_act", output_field=models.UUIDField())


class Entry(models.Model):
    """Who did what to which client's record, when and from where. Never changed, never deleted."""

    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    verb = models.CharField(max_length=40)
    client = models.ForeignKey("clients.Client", models.PROTECT, null=True, related_name="+")
    subject = models.CharField(max_length=60, blank=True)
    came_from = models.CharField(max_length=45, blank=True)  # an address, or "command"
    session_mark = models.CharField(max_length=8, blank=True)
    act = models.UUIDField(null=True, db_default=act_of_now(), db_index=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["client", "-at"], name="audit_by_client"),
            models.Index(fields=["-at", "-id"], name="audit_by_moment"),
            models.Index(fields=["by", "-at"], name="audit_by_person"),
            models.Index(fields=["verb", "-at"], name="audit_by_verb"),
        ]
        triggers = [*kept(), chained("entry_id")]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by} {self.verb}"


class Change(models.Model):
    """What a row of a client's record said before and after an UPDATE or DELETE.

    Written by the database itself. `values` is {column: [before, after]} as text, of the changed
    columns only. The chain rests on `digest`, so that values can be erased and the chain stays.
    """

    at = models.DateTimeField()
    act = models.UUIDField(db_index=True)
    table = models.CharField(max_length=63)
    row = models.CharField(max_length=40)
    # No foreign key: the change outlives a client who is erased.
    client_id = models.UUIDField(null=True, db_index=True)
    is_deletion = models.BooleanField()
    values = models.JSONField(null=True)
    salt = models.UUIDField(null=True)
    digest = models.CharField(max_length=64)
    database_user = models.CharField(max_length=63)

    class Meta:
        ordering = ["-pk"]
        triggers = [*kept(), chained("change_id")]

    def __str__(self) -> str:
        return f"{self.table} {self.row}"

    @property
    def subject(self) -> str:
        """The row as an entry names its subject."""
        return f"{self.table.rpartition('_')[2]}:{self.row}"


class Link(models.Model):
    """One place in the chain: the hash of an entry or change together with the hash before it."""

    position = models.BigIntegerField(primary_key=True)
    entry = models.OneToOneField(Entry, models.PROTECT, null=True, related_name="link")
    change = models.OneToOneField(Change, models.PROTECT, null=True, related_name="link")
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.CheckConstraint(condition=Q(position__gte=1), name="link_counts_from_one"),
            models.CheckConstraint(
                condition=Q(entry__isnull=True, change__isnull=False)
                | Q(entry__isnull=False, change__isnull=True),
                name="link_of_one_row",
            ),
        ]
        triggers = kept()

    def __str__(self) -> str:
        return f"{self.position}:{self.hash}"


class Unchained(models.Model):
    """A row that the transaction at hand has yet to put in the chain. Empty for everybody else."""

    # No sequence: a backup restored would not find it where it stood.
    id = models.UUIDField(primary_key=True, db_default=Func(function="gen_random_uuid"))
    entry_id = models.BigIntegerField(null=True)
    change_id = models.BigIntegerField(null=True)

    class Meta:
        triggers = [
            pgtrigger.Trigger(
                name="into_chain",
                level=pgtrigger.Row,
                when=pgtrigger.After,
                operation=pgtrigger.Insert,
                timing=pgtrigger.Deferred,
                func="PERFORM audit_chain(NEW.entry_id, NEW.change_id);"
                " DELETE FROM audit_unchained WHERE id = NEW.id; RETURN NULL;",
            )
        ]

    def __str__(self) -> str:
        return f"{self.entry_id or self.change_id}"
