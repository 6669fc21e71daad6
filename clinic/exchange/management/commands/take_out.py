"""`manage.py take_out records FILE --by NAME`: everybody's data in a file, whatever it takes."""

import os
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from django.core.management.base import BaseCommand, CommandError

from clinic.accounts import permits
from clinic.accounts.management.names import person_named
from clinic.exchange import record
from clinic.exchange.services.taking import note_all_taken
from clinic.exchange.words import Taken

WHAT = {"records": Taken.RECORD, "girths": Taken.GIRTHS}


class Command(BaseCommand):
    help = "Write everybody's records (FHIR R4, NDJSON) or girths (CSV) to a new file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=list(WHAT), help="records or girths")
        parser.add_argument("file", type=Path, help="a file that is not there yet")
        parser.add_argument("--by", required=True, help="sign-in name of the clinic lead")

    def handle(self, *args: Any, **options: Any) -> None:
        user, what = person_named(options["by"]), WHAT[options["what"]]
        if not (user.is_active and permits.may(user, "exchange.all")):
            raise CommandError("Only a clinic lead may take everybody's data out.")
        try:
            with _new_file(options["file"]) as out:
                count = note_all_taken(what=what, by=user)
                out.writelines(_parts(what))
        except OSError as error:
            raise CommandError(f"The file could not be written: {error.strerror}.") from error
        self.stdout.write(
            f"{count} clients. The file is not encrypted: keep it where only you can."
        )


def _parts(what: Taken) -> Iterator[bytes]:
    if what is Taken.RECORD:
        yield from record.every_bundle()
    else:
        yield from (line.encode() for line in record.every_girth_csv())


@contextmanager
def _new_file(path: Path) -> Iterator[BinaryIO]:
    """A new file that nobody else on the machine may read; whole in the end, or gone."""
    number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with open(number, "wb") as out:
            yield out
    except BaseException:
        path.unlink()
        raise
