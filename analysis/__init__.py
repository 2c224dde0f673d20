PIPELINE_VERSION = "1"  # raised when the same clip would give other figures
