"""What simulated flaws are worth to a classifier: experiments on an invented shop."""
