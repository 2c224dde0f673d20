PIPELINE_VERSION = "6"  # raised when the same clip would give other figures
