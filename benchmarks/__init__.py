"""Ratios of running times, measured in one run."""
