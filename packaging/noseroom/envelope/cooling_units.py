"""Figures of air and heat as a builder writes them: 7 psi, 230 cu in, 205 F, 900 cfm, 12 A.

Numbers, fractions and ± are read by `noseroom.units`; here a text only loses its unit. Everything
comes out in the unit that `Measured` names.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from noseroom.envelope.suggest import described
from noseroom.envelope.values import BadValueError, from_units
from noseroom.errors import UnitsError
from noseroom.units import MM_PER_INCH, read_length, read_number

__all__ = ["MEASURES", "Measured", "read_figure"]


@dataclass(frozen=True, slots=True)
class Measured:
    """One kind of quantity. base: the unit that it comes out in.

    units: spelling -> (factor, offset) to the base. alone: whether a bare number is in the base.
    """

    base: str
    units: Mapping[str, tuple[float, float]]
    example: str
    alone: bool = False


def _units(**factors: float) -> dict[str, tuple[float, float]]:
    return {name: (factor, 0.0) for name, factor in factors.items()}


_CUBIC_INCH = (MM_PER_INCH / 100.0) ** 3


_CFM = 0.3048**3 / 60.0
_INCH_OF_WATER = 249.089
"""Pa: 25.4 mm of water at 4 °C (NIST SP 811, appendix B)."""
_PSI = 6894.757
"""Pa (NIST SP 811, appendix B)."""

MEASURES: Mapping[str, Measured] = {
    "temperature": Measured(
        "°C",
        {"c": (1.0, 0.0), "°c": (1.0, 0.0), "f": (5 / 9, -32.0), "°f": (5 / 9, -32.0)},
        "205 F or 96 C",
    ),
    "pressure": Measured(
        "Pa",
        _units(pa=1.0, kpa=1e3, bar=1e5, psi=_PSI, inwc=_INCH_OF_WATER, mbar=100.0)
        | {"in wc": (_INCH_OF_WATER, 0.0), "in h2o": (_INCH_OF_WATER, 0.0)},
        "13 psi or 90 kPa",
    ),
    "displacement": Measured(
        "L",
        {"cu in": (_CUBIC_INCH, 0.0), "ci": (_CUBIC_INCH, 0.0)}
        | _units(cid=_CUBIC_INCH, l=1.0, cc=1e-3, cm3=1e-3),
        "230 cu in or 3.8 L",
    ),
    "air speed": Measured(
        "m/s",
        {"m/s": (1.0, 0.0), "ft/min": (0.3048 / 60, 0.0), "mph": (0.44704, 0.0)}
        | {"km/h": (1 / 3.6, 0.0), "fpm": (0.3048 / 60, 0.0)},
        "1.5 m/s or 300 ft/min",
    ),
    "car's speed": Measured(
        "m/s", {"mph": (0.44704, 0.0), "km/h": (1 / 3.6, 0.0)}, "55 mph or 90 km/h"
    ),
    "flow": Measured(
        "m³/s",
        {"cfm": (_CFM, 0.0), "m3/s": (1.0, 0.0), "m3/h": (1 / 3600, 0.0), "l/s": (1e-3, 0.0)},
        "900 cfm or 1500 m3/h",
    ),
    "share": Measured("", {"%": (0.01, 0.0)}, "50 %"),
    "current": Measured("A", _units(a=1.0, amps=1.0, amp=1.0), "12 A", alone=True),
    "turns": Measured("rpm", _units(rpm=1.0), "2000 rpm", alone=True),
    "fins": Measured("an inch", {"an inch": (1.0, 0.0)}, "12", alone=True),
    "count": Measured("", {}, "3", alone=True),
    "mass": Measured("kg", _units(kg=1.0, lb=0.45359237, lbs=0.45359237), "3400 lb or 1550 kg"),
    "height": Measured("m", {"m": (1.0, 0.0), "ft": (0.3048, 0.0)}, "1500 ft or 450 m"),
}


def read_figure(
    measure: str, text: Any, low: float, high: float, unit: str = "in"
) -> tuple[float, float | None]:
    """A figure and its ± (None where none was said), in the base unit of its measure.

    measure: of `MEASURES`, or "length" for one in the file's own unit, mm. low, high: what is
    accepted, in the base unit. Raises BadValueError.
    """
    if measure == "length":
        return _length(text, low, high, unit)
    kind = MEASURES[measure]
    wanted = f"{_a(measure)} such as {kind.example}"
    if not isinstance(text, str):
        raise BadValueError(described(text), wanted)
    plain, name = _without_unit(text, kind)
    if not name and not kind.alone:
        raise BadValueError(f'"{text}"', wanted, f"say the unit: {', '.join(kind.units)}")
    try:
        read = read_number(plain)
    except UnitsError as error:
        raise from_units(error, wanted) from None
    if read.bound or read.about:
        raise BadValueError(f'"{text}"', wanted, "give one figure, with a ± if you know it")
    factor, offset = kind.units.get(name, (1.0, 0.0))
    value = (read.value + offset) * factor
    if not low <= value <= high:
        raise BadValueError(f'"{text}"', _between(measure, low, high))
    width = None if read.half_width is None else read.half_width * factor
    if width is not None and width <= 0:
        raise BadValueError(f'"{text}", with no room for error', "a ± above zero")
    return value, width


def _length(text: Any, low: float, high: float, unit: str) -> tuple[float, float | None]:
    if not isinstance(text, str):
        raise BadValueError(described(text), "a length")
    try:
        read = read_length(text, unit)
    except UnitsError as error:
        raise from_units(error, "a length") from None
    if read.bound or read.about or not low <= read.value <= high:
        raise BadValueError(f'"{text}"', f"a length between {low:g} and {high:g} mm")
    return read.value, read.half_width


def _without_unit(text: str, kind: Measured) -> tuple[str, str]:
    """The text less its unit, wherever that stands, and the unit."""
    for name in sorted(kind.units, key=len, reverse=True):
        spelled = re.escape(name).replace(r"\ ", r"[\s.]*")
        found = re.compile(rf"(?<![a-z/°]){spelled}\.?(?![a-z/0-9])", re.IGNORECASE)
        if found.search(text):
            return found.sub("", text).strip(), name
    return text, ""


def _a(measure: str) -> str:
    return f"{'an' if measure[0] in 'aeiou' else 'a'} {measure}"


def _between(measure: str, low: float, high: float) -> str:
    kind = MEASURES[measure]
    shares = {"share": (100.0, " %")}
    factor, unit = shares.get(measure, (1.0, f" {kind.base}" if kind.base else ""))
    return f"{_a(measure)} between {low * factor:g} and {high * factor:g}{unit}"
