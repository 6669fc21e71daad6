"""Everything the practice holds about one client, as one ZIP."""

import json
from collections import defaultdict
from collections.abc import Iterator
from io import BytesIO
from zipfile import ZIP_DEFLATED, ZipFile

from django.core import serializers
from django.db import transaction
from django.db.models import BinaryField, Model
from django.utils import timezone

from clinic.accounts.models import User
from clinic.accounts.selectors import practice_card
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.exchange.record import client_bundle, girths_csv
from clinic.keeping.belongings import Found, belongings, family
from clinic.letters.models import ProgressLetter

READ_ME = """\
Record {number} of {practice}, exported on {on}.

record.fhir.json  the clinical record as a FHIR R4 Bundle, for another practice's software
girths.csv        every girth that stands, a line each (cm, kg); opens in any spreadsheet
letters/          every letter and report that was approved, as it was printed
prints/           other papers that were kept as printed, such as home programmes
rows/             all else that is kept, a file for each kind of entry, drafts and struck-out
                  sessions included, as JSON
names.json        who and what the numbers of staff, rooms and the like in rows/ stand for

Who looked at or changed the record is not in here; the practice prints that on request.
"""


@transaction.atomic
def export_client(*, client: Client, by: User) -> BytesIO:
    """A ZIP with all that hangs on a client; each export is recorded."""
    audit.record(by, "client.exported", client=client, subject=client)
    packed = BytesIO()
    with ZipFile(packed, "w", ZIP_DEFLATED) as archive:
        for name, content in _files(client):
            archive.writestr(f"record-{client.record_number}/{name}", content)
    packed.seek(0)
    return packed


def _files(client: Client) -> Iterator[tuple[str, bytes | str]]:
    on = f"{timezone.localdate():%-d %b %Y}"
    yield (
        "README.txt",
        READ_ME.format(number=client.record_number, practice=practice_card().name, on=on),
    )
    yield "record.fhir.json", client_bundle(client)
    yield "girths.csv", "".join(girths_csv(client))
    for letter in ProgressLetter.objects.filter(
        episode__client=client, approved_at__isnull=False
    ).order_by("period_to", "pk"):
        name = f"{letter.period_to:%Y-%m-%d}-{letter.kind}-{str(letter.pk)[:8]}.pdf"
        yield f"letters/{name}", bytes(letter.pdf or b"")
    records = family(client)
    yield "rows/clients.client.json", _rows(Client, set(records))
    found = belongings(records)
    yield "names.json", json.dumps(_names(found | {Client: set(records)}), indent=1)
    for model, keys in found.items():
        yield f"rows/{model._meta.label_lower}.json", _rows(model, keys)
        if model is not ProgressLetter:
            yield from _prints(model, keys)


def _prints(model: type[Model], keys: set[object]) -> Iterator[tuple[str, bytes]]:
    """What was printed and kept with the rows, such as the handout of a home programme."""
    for field in model._meta.concrete_fields:
        if isinstance(field, BinaryField):
            kept = model._base_manager.filter(pk__in=keys, **{f"{field.name}__isnull": False})
            for key, content in kept.values_list("pk", field.name):
                yield f"prints/{model._meta.label_lower}-{key}-{field.name}.pdf", bytes(content)


def _names(found: Found) -> dict[str, dict[str, str]]:
    """What the rows refer to and is not among them, in words: by kind and key."""
    referred: defaultdict[type[Model], set[object]] = defaultdict(set)
    for model, keys in found.items():
        rows = model._base_manager.filter(pk__in=keys)
        for field in model._meta.concrete_fields:
            if field.related_model is not None and field.related_model not in found:
                values = rows.values_list(field.attname, flat=True)
                referred[field.related_model] |= set(values) - {None}
    return {
        model._meta.label_lower: {
            str(one.pk): str(one) for one in model._base_manager.filter(pk__in=keys)
        }
        for model, keys in referred.items()
        if keys
    }


def _rows(model: type[Model], keys: set[object]) -> str:
    """The rows as plain values, in the order of their keys; PDFs are files of their own."""
    plain = [
        field.name for field in model._meta.concrete_fields if not isinstance(field, BinaryField)
    ]
    rows = model._base_manager.filter(pk__in=keys).order_by("pk")
    told = json.loads(serializers.serialize("json", rows, fields=plain))
    return json.dumps([{"id": row["pk"], **row["fields"]} for row in told], indent=1)
