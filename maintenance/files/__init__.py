"""The CSV files of what stops a cell, and of what keeps it from stopping.

Each sheet says what a row means and which rules it keeps; `cells.files` loads it.
"""
