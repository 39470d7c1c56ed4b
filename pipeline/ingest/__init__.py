"""From a shop's own trace files to the seam store: profile, readers, checks, run."""
