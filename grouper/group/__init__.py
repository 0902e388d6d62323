"""Placeholder docstring, replaced by the step's own."""
