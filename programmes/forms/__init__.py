"""The forms of home programmes, one module for each thing."""
