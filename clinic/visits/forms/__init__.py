"""Forms of visits."""
