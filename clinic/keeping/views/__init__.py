"""Pages of keeping the record."""
