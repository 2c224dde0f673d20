"""Pages about people. Each asks `access`, checks a form, calls one service."""
