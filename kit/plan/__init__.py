"""Before the day: fair orders, a timetable by the clock, a forecast, and the session folder."""
