"""Is the instrument still itself: reference checks, and drift of production."""
