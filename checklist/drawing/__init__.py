"""Charts, sheets and reports on what was recorded: on counts and times, never on doses."""
