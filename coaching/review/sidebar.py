"""Fragments beside the clip: each slice to the right adds its own when the apps are ready.

A fragment is a template that gets the room's context, with `review` in it.
"""

fragments: list[str] = []

# The same of the answer that a student reads: what leads it, and what stands in its middle.
answer_heads: list[str] = []
answer_parts: list[str] = []
