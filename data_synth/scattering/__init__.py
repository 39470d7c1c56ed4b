"""Echoes of single flaws, one solution a module."""
