"""Pages that join apps: today and the client page."""
