"""Progress letters: compiled, edited, approved, printed and kept."""
