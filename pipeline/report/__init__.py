"""What people see: one look for traces, figures and self-contained pages."""
