"""From a trace to indications and their descriptors, and the data contracts that all parts share."""
