"""Writes about bookings and staff time."""
