"""Bookings, series, day sheet, wait list, recalls and calendar files."""
