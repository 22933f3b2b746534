"""Languages of other systems: what comes in from scanners and records, what goes out to them."""
