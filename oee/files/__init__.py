"""The CSV files of what was built, how fast at best, and how many were."""
