"""Descriptors of indications: one small function each, one registry for all."""
