"""Ratios against limits and peers, measured in one run; nothing here is a test."""
