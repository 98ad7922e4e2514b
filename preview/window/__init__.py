"""The pygame window: the only package that imports pygame."""
