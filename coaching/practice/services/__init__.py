"""Every write of the practice, by subject."""
