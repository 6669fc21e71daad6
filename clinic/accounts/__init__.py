"""Staff, roles, permits and sign-in."""
