"""Checks by outside programs that are no dependency: run by hand, skipped where missing."""
