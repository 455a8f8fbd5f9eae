"""Limits for units, and verdicts by them."""
