"""The sheets: every dose sum as it is asked for by name, with its formula, source and example."""
