PIPELINE_VERSION = "7"  # raised when the same clip would give other figures
