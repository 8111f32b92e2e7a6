"""Everything that writes to the milk book."""
