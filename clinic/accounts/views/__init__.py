"""Sign-in, one's own account, staff accounts, the practice."""
