"""Benchmarks on simulated paint shops and on measured films; ``python -m tests.benchmarks NAME``.

Two simulators draw the shops (`command.SIMULATORS`); every table gives both unless one is asked for
with ``--simulator``. What each shares with the law of `matchlib` stands in `booth`.
"""
