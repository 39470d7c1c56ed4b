"""Where along the seam flaws lie, and since when."""
