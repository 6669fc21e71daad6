#!/usr/bin/env python
"""Django's command line; starts the trial database first when no other is named."""

import os
import sys

from django.conf import settings
from django.core.management import execute_from_command_line

from clinic import trial_database

# Commands that never touch the database must not start one.
WITHOUT_DATABASE = {"check", "collectstatic", "help", "makemigrations", "verify_backup", "version"}


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
    command = sys.argv[1] if len(sys.argv) > 1 else "help"
    if settings.IS_TRIAL and command.strip("-") not in WITHOUT_DATABASE:
        trial_database.ensure_running(settings.TRIAL_FOLDER)
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
