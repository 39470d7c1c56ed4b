"""The flaw mix of production, with the classifier's confusion undone."""
