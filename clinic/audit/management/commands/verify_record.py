"""Checks the chain over the access and change record."""

import argparse
import re
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from clinic.audit.verify import Head, Verification, verified

NOTED = re.compile(r"([1-9][0-9]{0,17}):([0-9a-f]{64})")


def noted_head(text: str) -> Head:
    """ "POSITION:HASH" as printed by an earlier run."""
    match = NOTED.fullmatch(text.strip().lower())
    if match is None:
        raise argparse.ArgumentTypeError("type the head as it was printed: POSITION:HASH")
    return Head(int(match[1]), match[2])


class Command(BaseCommand):
    help = (
        "Recompute the chain over who looked at and changed what, and compare it with the rows."
        " Prints the head of the chain: keep it outside this database, and give it to a later run"
        " with --head. Ends with 1 where something is not as it was written."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            type=noted_head,
            metavar="POSITION:HASH",
            help="a head noted earlier, which must still be part of the chain",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        found = verified(options["head"])
        self._tell(found)
        if not found.is_intact:
            self.stderr.write("The record is not as it was written.")
            raise SystemExit(1)
        self.stdout.write("All as written.")

    def _tell(self, found: Verification) -> None:
        for fault in found.faults:
            self.stdout.write(f"NOT AS WRITTEN: {fault.sentence}")
        if found.faults_not_listed:
            self.stdout.write(f"NOT AS WRITTEN: and {found.faults_not_listed} more")
        if found.erased:
            self.stdout.write(f"Changes whose values were erased: {found.erased}")
        self.stdout.write(f"Links checked: {found.links}")
        self.stdout.write(f"Head: {found.head or 'none, since nothing is recorded'}")
