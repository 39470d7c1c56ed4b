"""Limit rule, candidate models, calibration, conformal sets, novelty and the guarded decision."""
