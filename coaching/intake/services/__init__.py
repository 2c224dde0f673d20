"""Every write of the intake, by subject."""
