"""The append-only record of who looked at or changed what."""
