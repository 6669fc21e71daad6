"""Pages about bookings and staff time."""
