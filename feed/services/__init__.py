"""What is written about the feed, one module per noun; everything else only calls these."""
