"""Shared reads of the practice. Lists take a constant number of queries, however many rows."""
