"""The practice: people, time and paper."""
