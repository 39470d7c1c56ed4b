"""Experiment tracking: what is kept of each run, the outbox, and the server."""
