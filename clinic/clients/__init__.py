"""Clients, referrers, episodes of care, cancer treatments and precautions."""
