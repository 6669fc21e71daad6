"""Approved letters to send, made quickly: their bytes are one page with the client's name on it."""

import hashlib
from datetime import date, timedelta
from io import BytesIO
from typing import Any

from django.utils import timezone
from pypdf import PdfWriter
from pypdf.generic import DecodedStreamObject, DictionaryObject, NameObject

from clinic.accounts.models import User
from clinic.clients.models import Episode, Referrer
from clinic.letters.models import ProgressLetter
from clinic.letters.sending.services import Chosen, make_batch
from clinic.letters.sending.ways import Output
from tests.builders import make_client, make_episode

LETTER_POINTS = (612, 792)
# What no envelope, list, message or file name may say.
SAID = "Axilla much swollen"


def page_saying(*texts: str) -> bytes:
    """A PDF of one page a text, in the plain font every reader has."""
    writer = PdfWriter()
    for text in texts:
        page = writer.add_blank_page(*LETTER_POINTS)
        stream = DecodedStreamObject()
        stream.set_data(f"BT /F1 12 Tf 72 400 Td ({text}) Tj ET".encode("latin-1", "replace"))
        font = DictionaryObject(
            {
                NameObject("/Type"): NameObject("/Font"),
                NameObject("/Subtype"): NameObject("/Type1"),
                NameObject("/BaseFont"): NameObject("/Helvetica"),
            }
        )
        fonts = DictionaryObject({NameObject("/F1"): font})
        page[NameObject("/Resources")] = DictionaryObject({NameObject("/Font"): fonts})
        page[NameObject("/Contents")] = writer._add_object(stream)
    written = BytesIO()
    writer.write(written)
    return written.getvalue()


def printed_address(referrer: Referrer | None) -> dict[str, str]:
    """The addressee as a letter's frozen summary keeps it."""
    named = ("speciality", "organisation", "street", "town")
    return {"name": str(referrer)} | {name: getattr(referrer, name, "") for name in named}


def approve_quickly(
    episode: Episode, referrer: Referrer | None, **differences: Any
) -> ProgressLetter:
    pdf = page_saying(f"{episode.client.family_name}: {SAID}")
    values = {
        "episode": episode,
        "referrer": referrer,
        "period_from": date(2026, 9, 1),
        "period_to": date(2026, 9, 30),
        "bottom_line": SAID,
        "compiled_by": episode.therapist,
        "approved_by": episode.therapist,
        "approved_at": timezone.now() - timedelta(days=1),
        "summary": {"addressee": printed_address(referrer)},
        "pdf": pdf,
        "pdf_sha256": hashlib.sha256(pdf).hexdigest(),
    }
    return ProgressLetter.objects.create(**values | differences)


def letter_on(
    name: str, referrer: Referrer | None, therapist: User, **differences: Any
) -> ProgressLetter:
    """An approved letter on a new client of this family name."""
    client = make_client(family_name=name, referrer=referrer)
    return approve_quickly(make_episode(client, therapist), referrer, **differences)


def chosen(*letters: ProgressLetter, output: Output = Output.PRINT, **more: Any) -> Chosen:
    return Chosen(letter_ids=tuple(letter.pk for letter in letters), output=output, **more)


def batch_of(*letters: ProgressLetter, by: User, **more: Any) -> Any:
    return make_batch(chosen=chosen(*letters, **more), by=by)
