"""Pages of the practice, by who stands before them."""
