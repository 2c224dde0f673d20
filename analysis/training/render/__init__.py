"""More rendered swings: other bodies, clothes and cameras for the motions of a table."""
