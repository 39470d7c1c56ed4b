"""Parts of the simulated cutting campaigns."""
