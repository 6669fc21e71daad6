"""Charting: visit notes, treatment, signing, plans of care."""
