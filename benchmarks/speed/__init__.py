"""How fast seamtell works; each module measures one family of rows for `benchmarks/run.py`."""
