"""From the store to tables in bulk: threads over batches with the results in order, and rows as Arrow."""
