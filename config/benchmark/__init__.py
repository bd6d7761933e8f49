"""How fast is it? Each module here measures one thing, as ratios within one run.

A module has ``run(say, small)``: it makes its own data in the benchmark's database,
says what it found, a sentence a line, and with ``small`` does the same on very little,
which proves that it works and nothing about speed.
"""

from collections.abc import Callable

#: The modules, in the order in which they run.
NAMES = ("year", "larger", "workers", "latency", "rollups", "visitors")

Say = Callable[[str], None]
