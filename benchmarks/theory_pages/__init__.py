"""Figures of the wave model and of what it makes, one module a figure."""
