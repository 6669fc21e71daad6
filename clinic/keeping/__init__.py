"""The record kept whole: backup and restore, retention, merging, erasure."""
