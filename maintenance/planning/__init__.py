"""When is preventive work due, and was it done on time?

Pure calculation: no Django, no models. Dates, the production calendar, the readings
and the day of asking are all arguments; `cells.working_time.production_calendar` and
`cells.metering.history` hold the two that every routine of a place or machine shares.

- `routine_rule`: how often, with which tolerance.
- `calendar_due`: due dates that go by the calendar, and grid dates passed.
- `due_dates`: the due date, its window and state, and the verdict on a completion.
- `closed_windows`: every window that has closed, replayed from the record.
- `compliance`: done on time ÷ all whose window closed.
"""
