"""Refraction: sphere, cylinder and axis in whole quarter dioptres, and what a lens's place does."""

import re
from dataclasses import dataclass, field
from decimal import Decimal

from rehab.errors import MeasureError
from rehab.measures.typed_text import plain, quoted

LARGEST_POWER_QUARTERS = 40 * 4
LARGEST_CYLINDER_QUARTERS = 10 * 4
NO_VERTEX_EFFECT_BELOW_QUARTERS = 4 * 4
LARGEST_VERTEX_MM = 20

_POWER = r"[+-]? ?(?:[0-9]{1,3}(?:[.,][0-9]{1,3})?|[.,][0-9]{1,3})"
_WRITTEN = re.compile(
    rf"(?P<sphere>plano|pl|{_POWER})(?: ?(?:ds|dsph|sph|d)\b)?"
    rf"(?:(?: ?/ ?| |(?=[+-]))(?P<cylinder>{_POWER})(?: ?(?:dc|dcyl|cyl|d)\b)?)?"
    r"(?: ?(?:x|@|axis|ax) ?(?P<axis>[0-9]{1,3}))?"
)
_EXAMPLES = 'Write for example "+4.00/-1.00x90", "+4.00", "-2.25 DS" or "plano".'


@dataclass(frozen=True, slots=True)
class Refraction:
    """The axis is 1 to 180 degrees, and 0 exactly when there is no cylinder."""

    sphere_quarters: int
    cylinder_quarters: int = 0
    axis_degrees: int = 0
    notes: tuple[str, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        lowest, highest = (1, 180) if self.cylinder_quarters else (0, 0)
        if not lowest <= self.axis_degrees <= highest:
            expected = "1 to 180" if self.cylinder_quarters else "0, as there is no cylinder"
            raise _refusal(f"An axis of {self.axis_degrees} is not {expected}.")


def _refusal(what: str) -> MeasureError:
    return MeasureError(what, where="refraction", do=_EXAMPLES)


def parse_refraction(text: str) -> Refraction:
    """The refraction written in `text`, in either form of cylinder."""
    match = _WRITTEN.fullmatch(plain(text))
    if match is None:
        raise _refusal(f"{quoted(text)} is not a sphere with or without cylinder and axis.")
    if match["axis"] and not match["cylinder"]:
        raise _refusal(f"The axis {match['axis']} has no cylinder.")
    sphere = _quarters(match["sphere"])
    cylinder = _quarters(match["cylinder"] or "0")
    if abs(cylinder) > LARGEST_CYLINDER_QUARTERS:
        raise _refusal(f"A cylinder of {write_power(cylinder)} is outside -10.00 to +10.00.")
    for power in (sphere, sphere + cylinder):
        if abs(power) > LARGEST_POWER_QUARTERS:
            raise _refusal(f"A power of {write_power(power)} is outside -40.00 to +40.00.")
    return _with_axis(sphere, cylinder, match["axis"])


def parse_target(text: str) -> int:
    """The residual refraction aimed at, in quarter dioptres: a sphere without cylinder."""
    target = parse_refraction(text)
    if target.cylinder_quarters:
        raise MeasureError(
            f"{quoted(text)} has a cylinder; a target is one power.",
            where="target refraction",
            do='Write for example "+6.00" or "plano".',
        )
    return target.sphere_quarters


def _with_axis(sphere: int, cylinder: int, axis: str | None) -> Refraction:
    if not cylinder:
        note = () if axis is None else (f"There is no cylinder, so axis {axis} was left out.",)
        return Refraction(sphere, notes=note)
    if axis is None:
        raise _refusal(f"The cylinder {write_power(cylinder)} has no axis.")
    if int(axis) == 0:
        return Refraction(sphere, cylinder, 180, ("Axis 0 was read as 180.",))
    return Refraction(sphere, cylinder, int(axis))


def _quarters(power: str) -> int:
    if power in ("plano", "pl"):
        return 0
    digits = power.replace(" ", "").replace(",", ".")
    value = Decimal(digits) * 4
    if value != int(value):
        lower = int(value // 1) if value > 0 else int(value // 1) - 1
        raise _refusal(
            f"{digits} is not a whole number of quarter dioptres; "
            f"the nearest are {write_power(lower)} and {write_power(lower + 1)}."
        )
    if value and digits[0] not in "+-":
        raise _refusal(f"{digits} has no sign: +{digits} or -{digits}?")
    return int(value)


def write_power(quarters: int) -> str:
    """A power as notes write it: a sign and two decimals, or plano."""
    return f"{quarters / 4:+.2f}" if quarters else "plano"


def spherical_equivalent_dioptres(refraction: Refraction) -> float:
    """Sphere plus half the cylinder, exact (a multiple of an eighth)."""
    return (refraction.sphere_quarters + refraction.cylinder_quarters / 2) / 4


def transpose(refraction: Refraction) -> Refraction:
    """The same lens in the other form of cylinder."""
    if not refraction.cylinder_quarters:
        return refraction
    axis = refraction.axis_degrees
    return Refraction(
        refraction.sphere_quarters + refraction.cylinder_quarters,
        -refraction.cylinder_quarters,
        axis - 90 if axis > 90 else axis + 90,
        refraction.notes,
    )


def write_refraction(refraction: Refraction) -> str:
    """The text that `parse_refraction` reads back as the same refraction."""
    sphere = write_power(refraction.sphere_quarters)
    if not refraction.cylinder_quarters:
        return sphere
    return f"{sphere}/{write_power(refraction.cylinder_quarters)}x{refraction.axis_degrees}"


def write_minus_cylinder(refraction: Refraction) -> str:
    other = refraction.cylinder_quarters > 0
    return write_refraction(transpose(refraction) if other else refraction)


def write_plus_cylinder(refraction: Refraction) -> str:
    other = refraction.cylinder_quarters < 0
    return write_refraction(transpose(refraction) if other else refraction)


def to_corneal_plane(refraction: Refraction, vertex_mm: int) -> Refraction:
    """What a lens on the cornea must be to do the work of glasses `vertex_mm` before it.

    Each principal meridian by itself, F / (1 - dF), rounded to the nearest quarter dioptre. By
    rule a meridian weaker than 4.00 D is left as it is.
    """
    return _moved(refraction, vertex_mm, -1)


def to_spectacle_plane(refraction: Refraction, vertex_mm: int) -> Refraction:
    """The reverse of `to_corneal_plane`, by the same rules: F / (1 + dF) in each meridian."""
    return _moved(refraction, vertex_mm, 1)


def _moved(refraction: Refraction, vertex_mm: int, direction: int) -> Refraction:
    if not 0 <= vertex_mm <= LARGEST_VERTEX_MM:
        raise MeasureError(
            f"A vertex distance of {vertex_mm} mm is outside 0 to {LARGEST_VERTEX_MM} mm.",
            where="refraction",
            do="Measure from the back of the lens to the cornea; 12 mm is usual.",
        )
    first, second = (
        _moved_quarters(quarters, direction * vertex_mm)
        for quarters in (
            refraction.sphere_quarters,
            refraction.sphere_quarters + refraction.cylinder_quarters,
        )
    )
    axis = refraction.axis_degrees if second != first else 0
    return Refraction(first, second - first, axis, refraction.notes)


def _moved_quarters(quarters: int, vertex_mm: int) -> int:
    if abs(quarters) < NO_VERTEX_EFFECT_BELOW_QUARTERS:
        return quarters
    # Quarter dioptres and millimetres make dF = quarters * mm / 4000, so whole numbers suffice.
    numerator, denominator = quarters * 4000, 4000 + vertex_mm * quarters
    if denominator <= 0:
        raise _refusal(f"A power of {write_power(quarters)} cannot be moved {abs(vertex_mm)} mm.")
    nearest = (2 * abs(numerator) + denominator) // (2 * denominator)
    return nearest if quarters > 0 else -nearest
