"""Forms about clients, referrers, episodes and what was done to a body."""
