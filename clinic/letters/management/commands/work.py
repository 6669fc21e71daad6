"""`manage.py work`: compiles the letters of monthly runs and sends e-mails, in the background."""

import os
import signal
from argparse import SUPPRESS, ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from procrastinate.contrib.django import app

from clinic.letters.crew import Crew, cores, watch_parent
from clinic.letters.runs.services import QUEUE

# Pages come first: whoever waits for one feels it, the letters do not.
NICENESS = 10


class Command(BaseCommand):
    help = "Compile and e-mail letters in the background until stopped. Keep one running."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--processes", type=int, default=cores(), help="one a core")
        parser.add_argument("--once", action="store_true", help="stop when nothing is left to do")
        parser.add_argument("--one", action="store_true", help=SUPPRESS)
        parser.add_argument("--parent", type=int, default=0, help=SUPPRESS)

    def handle(self, *args: Any, **options: Any) -> None:
        if options["parent"]:
            watch_parent(options["parent"], lambda: os.kill(os.getpid(), signal.SIGTERM))
        if options["one"] or options["once"]:
            self._work(wait=not options["once"])
        else:
            Crew(max(1, options["processes"])).run()

    def _work(self, *, wait: bool) -> None:
        os.nice(NICENESS)
        with app.replace_connector(app.connector.get_worker_connector()) as worker:
            worker.run_worker(queues=[QUEUE], concurrency=1, wait=wait)
