"""Dates that read the same on both sides of the Atlantic, and the 24-hour clock."""

DATE_FORMAT = "j M Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y, H:i"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
TIME_FORMAT = "H:i"
MONTH_DAY_FORMAT = "j M"
YEAR_MONTH_FORMAT = "M Y"
