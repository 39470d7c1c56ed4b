"""Theory in the workspace: its file, the fit to a reference blank, simulated sections."""
