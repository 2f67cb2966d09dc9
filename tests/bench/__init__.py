"""Benchmarks: `python -m tests.bench NAME`, one file each. They judge nothing; pytest does not collect them."""
