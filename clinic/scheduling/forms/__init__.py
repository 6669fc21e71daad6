"""Forms about bookings and staff time."""
