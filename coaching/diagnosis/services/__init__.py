"""Every write of the diagnosis, by subject."""
