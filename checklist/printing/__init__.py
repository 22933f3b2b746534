"""Labels and the printable record: what stands on paper, and how it gets there."""
