"""The five quantities of the monthly check; kept apart so that a page can name them without loading statistics."""

MONTHLY_FIVE = ("mer_db", "shoulder_worst_db", "power_dbm", "frequency_offset_hz", "supply_a")
