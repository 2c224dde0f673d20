"""What the review room shows, by subject."""
