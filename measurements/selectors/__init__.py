"""Selectors of the measurements app, one module a subject."""
