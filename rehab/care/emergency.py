"""The number to ring for an ambulance: the clinic's own, else its country's."""

from dataclasses import dataclass
from datetime import date

from rehab.rules.protocol import Because, Protocol
from rehab.rules.table import Outcome

EMERGENCY_NUMBER = "emergency_number"
NOT_SAID = "not said"
ANOTHER_COUNTRY = "another country"


@dataclass(frozen=True, slots=True)
class EmergencyNumber:
    """`because` is the row that answered, None for the clinic's own number.

    Where a person must say the number it is empty, and `why` tells what to do.
    """

    number: str
    because: Because | None = None
    why: str = ""


def emergency_number(
    clinic_number: str, country: str, protocol: Protocol, today: date
) -> EmergencyNumber:
    """`country` is a code of ISO 3166-1, or empty. No number is ever guessed."""
    if clinic_number.strip():
        return EmergencyNumber(clinic_number.strip())
    words = dict(protocol.edition(EMERGENCY_NUMBER, today).table.inputs)["country"].words
    asked = (country if country in words else ANOTHER_COUNTRY) if country else NOT_SAID
    answer = protocol.ask(EMERGENCY_NUMBER, today, {"country": asked})
    if answer.outcome is Outcome.THEN:
        return EmergencyNumber(answer.word("number"), answer.because)
    return EmergencyNumber("", answer.because, answer.why)
