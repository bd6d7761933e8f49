"""What do a meter's readings say, and which reading asks a question?

Pure calculation: no Django, no models. Readings, the production calendar and the
meter's limit are arguments.

- `history`: readings, the use they show, and the date a threshold is reached.
- `questions`: does a reading that a person entered ask a question?
"""
