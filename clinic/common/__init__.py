"""What every app shares: words, errors, choices, forms, filters that round and write units."""
