"""`manage.py backup_drill FOLDER`: restores the newest backup for trial and drops it again."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from clinic.keeping.services.runs import drill
from clinic.keeping.telling import refusing_in_words, told


class Command(BaseCommand):
    help = (
        "Restore the newest backup of FOLDER into a scratch database, prove that it is the same,"
        " check what was signed, and drop it. The result is shown to the clinic lead. The app's"
        " role needs the right CREATEDB."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        with refusing_in_words():
            backup = drill(folder=options["folder"], say=self.stdout.write)
        self.stdout.write(f"The drill went well: {told(backup)}.")
