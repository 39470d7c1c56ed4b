"""New sections in, a candidate for approval out, compared with the approved model."""
