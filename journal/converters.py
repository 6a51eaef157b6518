"""Parts of addresses that are values."""

from datetime import date


class DayConverter:
    """A calendar day, YYYY-MM-DD."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        """The day.

        Raises:
            ValueError: there is no such day; Django answers 404.
        """
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        """The day as written in an address."""
        return value.isoformat()
