"""Reads of what leaves the practice, and of what would come in."""
