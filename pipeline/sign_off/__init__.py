"""What approval asks for, and the log of who approved what."""
