"""Pages of the practice, by who stands before them."""

from coaching.practice.views import assigning, judging, library, student

__all__ = ["assigning", "judging", "library", "student"]
