"""The edges to a health record: orders in, and what became of them out, in open standards."""
