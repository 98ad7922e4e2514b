"""Effects over time: the drives and frames of a look."""
