"""What the API shows and takes, by subject. Checks of meaning stay in the services.

Every figure is `value` with `uncertainty` (one standard deviation, same unit), or null
with a `reason`.
"""
