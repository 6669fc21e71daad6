"""A batch as a ZIP: one PDF a letter under a neutral name, and an index without clients' names."""

import csv
import hashlib
import zipfile
from collections.abc import Mapping, Sequence
from io import BytesIO, StringIO
from uuid import UUID

from django.utils import timezone

from clinic.common.csv_files import SIGNATURE, harmless
from clinic.letters.sending.file_names import file_name
from clinic.letters.sending.models import Sending

INDEX = "index.csv"
COLUMNS = ("file", "letter_date", "addressee", "sha256")


def batch_zip(sendings: Sequence[Sending], letters: Mapping[UUID, bytes]) -> bytes:
    """The letters byte for byte as approved, in posting order, and the index."""
    index = StringIO(newline="")
    rows = csv.writer(index)
    rows.writerow(COLUMNS)
    written = BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as file:
        for row in sendings:
            pdf = letters[row.letter_id]
            approved_on = timezone.localdate(row.letter.approved_at)
            named = file_name(row.letter_id, approved_on)
            file.writestr(named, pdf)
            addressee = harmless(", ".join(row.addressee.splitlines()))
            rows.writerow([named, approved_on, addressee, hashlib.sha256(pdf).hexdigest()])
        file.writestr(INDEX, SIGNATURE + index.getvalue())
    return written.getvalue()
