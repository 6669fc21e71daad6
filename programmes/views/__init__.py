"""The views of home programmes, one module for each thing."""
