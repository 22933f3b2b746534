"""The doors: a ward's files and each raw answer at a step come in here, or are refused in words."""
