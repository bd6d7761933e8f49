"""When a line is meant to run: plant time, patterns, and the shifts they make.

Pure calculation: no Django, no database, no "now"; the time zone is an argument.
"""
