"""What a workspace keeps: seams, sections, rejected input, conflicts."""
