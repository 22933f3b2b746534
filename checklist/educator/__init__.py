"""What the unit educator works with: replay, observation, agreement, progress and feedback."""
