"""Who owns each planned second of a cell in a shift?

The package answers that for any number of cell-shifts at once, from plain arrays of
whole UTC seconds, and knows nothing of databases, web pages or clocks.

- ``inputs``: the tables that go in, and what is refused
- ``spread``: which intervals touch which cell-shifts
- ``account``: the account of every cell-shift, closed to the second
- ``sums``: one cell-shift or any roll-up of them, and the ratios
- ``ranking``: cells in order of the time they lost
- ``classes``, ``flags``: the loss classes and the remarks on a cell-shift
- ``owners``: who owns a second that several claim
- ``cover``: the measure of a union of intervals, which ``owners`` stands on
"""
