"""What every app shares: words, errors, choices, form pieces, filters that round and write units."""
