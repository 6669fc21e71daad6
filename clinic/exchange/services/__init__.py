"""Writes: who took what out, and what came in."""
