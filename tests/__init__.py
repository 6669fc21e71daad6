"""The tests; a package so that no other package of this name can stand in for it."""
