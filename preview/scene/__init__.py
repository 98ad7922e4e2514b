"""The plan: its model, reading and writing it, its faults. Knows nothing of the other packages."""
