"""Every write about people, a module for each subject."""
