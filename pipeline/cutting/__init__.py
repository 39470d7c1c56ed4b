"""The next cut: what to section within a budget, drawn so that corrected figures stay unbiased."""
