"""An invented shop, and the guided-wave model under its traces."""
