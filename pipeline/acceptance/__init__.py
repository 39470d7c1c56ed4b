"""Acceptance statistics: what a quality engineer can sign for, numbers in and numbers out."""
