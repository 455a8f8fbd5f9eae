"""Rigs that only print lines of text, each described by a profile in TOML. Imports nothing else of ours but `rig`.

`profile.py` is what a profile says, `units.py` the exact factors of its units, `toml_place.py` where in the file a
fault stands; `lines.py` turns bytes into samples, `line_order.py` numbers them and finds what was lost
(`line_items.py` is what comes out), `line_encoder.py` is the other direction, for the virtual rig and the tests.
`builtin/` holds profiles of invented rigs.
"""
