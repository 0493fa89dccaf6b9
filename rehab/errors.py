"""The one tree of exceptions: each says what is wrong, where, and what to do."""


class RehabError(Exception):
    """Something that cannot go on. `str()` reads "WHERE: WHAT. DO." as one plain message."""

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what, self.where, self.do = what, where, do
        super().__init__(what, where, do)

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" {self.do}" if self.do else ""
        return f"{place}{self.what}{advice}"


class MeasureError(RehabError):
    """A measurement that no notation explains, or that cannot be."""


class TableError(RehabError):
    """A decision table that is not whole, or a question outside its domain."""


class RecordError(RehabError):
    """A fact that contradicts what is recorded, or that is not there."""


class StoreError(RehabError):
    """A database that cannot be used as it is."""


class SettingsError(RehabError):
    """A clinic file or an environment variable that cannot be used as it is."""


class LetterError(RehabError):
    """A letter that must not be printed as it stands."""


class CalendarServerError(RehabError):
    """A calendar server that cannot be reached, or that did not do what it was asked."""
