"""Small checks that return a finding or nothing; `checks.py` lists them."""
