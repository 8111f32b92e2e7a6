"""Forms of the milk that are more than a kind's own."""
