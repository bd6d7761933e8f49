"""When is preventive work due, and was it done on time?

Pure calculation: no Django, no models. Dates, the production calendar, the readings
and the day of asking are all arguments.

- `routine_rule`: how often, with which tolerance.
- `production_calendar`: which dates the area produces on.
- `meter_history`: readings, the use they show, and the date a threshold is reached.
- `calendar_due`: due dates that go by the calendar, and grid dates passed.
- `due_dates`: the due date, its window and state, and the verdict on a completion.
- `closed_windows`: every window that has closed, replayed from the record.
- `compliance`: done on time ÷ all whose window closed.
- `readings`: does a reading that a person entered ask a question?
"""
