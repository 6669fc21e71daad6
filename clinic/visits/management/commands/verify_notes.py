"""Checks the seals of all signed notes, co-signatures, addenda and plans of care."""

from collections import Counter
from typing import Any

from django.core.management.base import BaseCommand

from clinic.visits.selectors.verify import checked_all


class Command(BaseCommand):
    help = (
        "Recompute the seal of everything signed and compare it with the rows. Prints the counts"
        " and the id of each that fails; ends with 1 then."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        counts: Counter[str] = Counter()
        failed = 0
        for each in checked_all():
            counts[each.kind] += 1
            if not each.is_intact:
                failed += 1
                self.stdout.write(f"NOT AS SIGNED: {each.kind} {each.id}")
        told = ", ".join(f"{kind}: {count}" for kind, count in counts.items())
        self.stdout.write(f"Checked {told or 'nothing, since nothing is signed'}.")
        if failed:
            self.stderr.write(f"{failed} not as signed.")
            raise SystemExit(1)
        self.stdout.write("All as signed.")
