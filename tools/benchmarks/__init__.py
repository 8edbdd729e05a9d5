"""What `tools/benchmark.py` measures: a module a stage, each row ours and the reference library's in one process."""
