"""The passphrase that backups are sealed with, from the settings or from a file they name."""

from pathlib import Path

from django.conf import settings

from clinic.keeping.backup_errors import PassphraseMissing

# NIST SP 800-63B-4, 3.1.1.2: 15 characters where a password is the only factor (from memory, not
# re-read).
LEAST_CHARACTERS = 15


def backup_passphrase() -> str:
    """Raises PassphraseMissing when there is none or it is too short."""
    typed: str = settings.BACKUP_PASSPHRASE or _kept(settings.BACKUP_PASSPHRASE_FILE)
    if len(typed) < LEAST_CHARACTERS:
        raise PassphraseMissing(LEAST_CHARACTERS)
    return typed


def _kept(path: str) -> str:
    """The file's first line."""
    try:
        return Path(path).read_text().partition("\n")[0].strip() if path else ""
    except (OSError, UnicodeDecodeError) as error:
        raise PassphraseMissing(LEAST_CHARACTERS) from error
