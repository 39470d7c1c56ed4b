"""The process page: what dominates, where and since when, as one file that works without a server."""
