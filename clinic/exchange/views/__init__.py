"""Pages of data out and in."""
