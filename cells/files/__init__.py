"""The registry's and the calendar's CSV files: what they hold and how they are loaded.

- `run`: one load of one directory: its faults, what it knows, what it touched.
- `sheet`: one kind of file, row by row into the database, in bulk.
- `floor`, `machines`, `readings`, `calendar`: the files themselves.
"""
