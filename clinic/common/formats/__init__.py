"""How dates and times are written, one module a language."""
