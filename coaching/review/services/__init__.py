"""Every write of the review room, by subject. A published review never changes."""
