"""From trace files and sections to decisions: workspace, stages, reports, command line."""
