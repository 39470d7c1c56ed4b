"""From a batch of seams to decision files, under the limit rule."""
