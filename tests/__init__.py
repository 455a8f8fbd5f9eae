"""Tests mirror the packages; answers from outside stand in `truths/`."""
