"""What the client does at home."""
