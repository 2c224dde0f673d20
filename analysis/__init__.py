PIPELINE_VERSION = "2"  # raised when the same clip would give other figures
