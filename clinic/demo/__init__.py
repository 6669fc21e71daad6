"""An invented clinic to try the program with. Stands on top of all other apps; has no models."""
