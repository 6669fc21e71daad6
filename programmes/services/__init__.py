"""The services of home programmes, one module for each thing."""
