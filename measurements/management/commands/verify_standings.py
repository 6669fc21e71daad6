"""Compares the projection behind the caseload with the girths."""

from typing import Any

from django.core.management.base import BaseCommand

from measurements.selectors.standings import standings_that_differ


class Command(BaseCommand):
    help = (
        "Compare every kept standing with what the girths give. Prints the episode and limb of each"
        " that differs and ends with 1 then; rebuild_standings puts them right."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        differing = 0
        for episode_id, limb in standings_that_differ():
            differing += 1
            self.stdout.write(f"NOT AS TAPED: episode {episode_id}, {limb.label}")
        if differing:
            self.stderr.write(f"{differing} differ. Run rebuild_standings.")
            raise SystemExit(1)
        self.stdout.write("All standings are what the girths give.")
