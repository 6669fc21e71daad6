"""Reads about bookings and staff time."""
