"""Makes the projection behind the caseload anew."""

from typing import Any

from django.core.management.base import BaseCommand

from measurements.services.standings import rebuild_standings


class Command(BaseCommand):
    help = (
        "Reckon up, from the girths, where each limb stands and keep it for the caseload. Run it"
        " after an upgrade that corrects a formula, and after a restore. Nothing signed changes."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"Kept {rebuild_standings()} standings.")
