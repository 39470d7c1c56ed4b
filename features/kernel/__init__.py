"""The compiled twin of the readable implementation: same indications, same descriptors, in batches."""
