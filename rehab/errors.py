"""The one tree of exceptions: each says what is wrong, where, and what to do."""

from enum import StrEnum


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


class NotSent(StrEnum):
    """What it means for a message that it could not be sent; nothing went out unless unknown."""

    REFUSED = "it will never be taken as it is"
    LATER = "it may be taken another time"
    NONE_NOW = "no message can be sent now"
    UNKNOWN = "nobody knows whether it went out"


class SendError(RehabError):
    """A message that could not be sent, or of which nobody knows whether it was."""

    def __init__(self, what: str, meaning: NotSent, *, where: str = "", do: str = "") -> None:
        self.meaning = meaning
        super().__init__(what, where=where, do=do)
