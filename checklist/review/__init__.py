"""Review of what was recorded: statistics on counts, in floating point, never on doses."""
