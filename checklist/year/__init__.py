"""A year of an invented hospital, played through the real engine for practice with the numbers."""
