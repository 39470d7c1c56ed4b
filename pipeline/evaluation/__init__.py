"""What a model is worth: matching, counting, intervals, and the record of it all."""
