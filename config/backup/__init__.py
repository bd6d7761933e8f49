"""Backups of either database: one file each, taken while people work."""
