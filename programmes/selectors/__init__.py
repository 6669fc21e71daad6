"""The selectors of home programmes, one module for each thing."""
