"""What the tape says."""
