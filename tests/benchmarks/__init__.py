"""Benchmarks on a spray booth whose physics the regression does not know.

``python -m tests.benchmarks accuracy|scale|panels --help`` prints tables in markdown.
"""
