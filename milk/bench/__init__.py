"""A book as large as the estate's after years, to measure by. Invented; never in production."""
