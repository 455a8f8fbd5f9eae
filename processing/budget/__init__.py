"""Uncertainty budgets: their lines, and what these add up to by the GUM and by JCGM 101. Numbers in, numbers out."""
