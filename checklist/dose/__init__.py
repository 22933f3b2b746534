"""The dose sums of the trade, exact, each with the lines that lead to its outcome."""
