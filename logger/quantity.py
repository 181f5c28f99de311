"""Amounts with a unit as people write them: ``240 g``, ``8 1/2 oz``, ``23 ± 2 °C``, ``20 mm``.

Numbers are exact (`Fraction`) until the end. Factors are exact by definition (1959 international
yard and pound; NIST SP 811 appendix B, NIST Handbook 44 appendix C), checked in tests against a
units library.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from logger.remedy import WithRemedy

VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5",
    "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip

POUND_KG = Fraction("0.45359237")
INCH_M = Fraction("0.0254")

MASS: dict[str, Fraction] = {
    "kg": Fraction(1),
    "g": Fraction(1, 1000),
    "mg": Fraction(1, 1_000_000),
    "lb": POUND_KG,
    "oz": POUND_KG / 16,
    "tonne": Fraction(1000),
}
LENGTH: dict[str, Fraction] = {
    "m": Fraction(1),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    "in": INCH_M,
    "ft": INCH_M * 12,
    "km": Fraction(1000),
}
# Volumes in millilitres. NIST Handbook 44 appendix C: a US gallon is 231 cubic inches, and
# 4 quarts, 8 liquid pints, 16 cups, 128 fluid ounces, 256 tablespoons, 768 teaspoons.
US_GALLON_ML = 231 * (INCH_M * 100) ** 3
# Imperial gallon: 4.546 09 L exactly (NIST SP 811 appendix B.8); 8 pints, 160 fluid ounces.
IMPERIAL_GALLON_ML = Fraction("4546.09")
VOLUME: dict[str, Fraction] = {
    "ml": Fraction(1),
    "cl": Fraction(10),
    "dl": Fraction(100),
    "l": Fraction(1000),
    "tsp": US_GALLON_ML / 768,
    "tbsp": US_GALLON_ML / 256,
    "fl oz": US_GALLON_ML / 128,
    "cup": US_GALLON_ML / 16,
    "pint": US_GALLON_ML / 8,
    "quart": US_GALLON_ML / 4,
    "gallon": US_GALLON_ML,
    # By their own names only; 250, 20, 15 and 5 mL are the metric kitchen's (common practice).
    "metric cup": Fraction(250),
    "Australian tablespoon": Fraction(20),
    "metric tablespoon": Fraction(15),
    "metric teaspoon": Fraction(5),
    "imperial fl oz": IMPERIAL_GALLON_ML / 160,
    "imperial pint": IMPERIAL_GALLON_ML / 8,
    "imperial quart": IMPERIAL_GALLON_ML / 4,
    "imperial gallon": IMPERIAL_GALLON_ML,
}
# The words for them, without plurals in -s and without ``US``, which is what is meant anyway.
_FLUID_OUNCE = ("fl oz", "floz", "fluid ounce", "fluid oz")
SPELT_VOLUME: dict[str, str] = {
    **{name.lower(): name for name in VOLUME},
    "millilitre": "ml", "milliliter": "ml", "centilitre": "cl", "centiliter": "cl",
    "decilitre": "dl", "deciliter": "dl", "litre": "l", "liter": "l", "cc": "ml",
    "teaspoon": "tsp", "teaspoonful": "tsp", "tablespoon": "tbsp", "tablespoonful": "tbsp",
    "tbs": "tbsp", "tbl": "tbsp", "cupful": "cup", "pt": "pint", "qt": "quart", "gal": "gallon",
    **dict.fromkeys(_FLUID_OUNCE, "fl oz"),
    **{f"imperial {name}": "imperial fl oz" for name in _FLUID_OUNCE},
    "metric tbsp": "metric tablespoon", "metric tsp": "metric teaspoon",
    "australian tbsp": "Australian tablespoon", "uk pint": "imperial pint",
    "british pint": "imperial pint",
}  # fmt: skip
TIME: dict[str, Fraction] = {
    "s": Fraction(1),
    "min": Fraction(60),
    "h": Fraction(3600),
}
PRESSURE: dict[str, Fraction] = {
    "Pa": Fraction(1),
    "hPa": Fraction(100),
    "kPa": Fraction(1000),
    "mbar": Fraction(100),
}
SPELT: dict[str, str] = {
    "gram": "g", "grams": "g", "gr": "g", "kilogram": "kg", "kilograms": "kg", "kilo": "kg",
    "kilos": "kg", "milligram": "mg", "milligrams": "mg", "ounce": "oz", "ounces": "oz",
    "tonnes": "tonne",
    "pound": "lb", "pounds": "lb", "lbs": "lb", "metre": "m", "metres": "m", "meter": "m",
    "meters": "m", "centimetre": "cm", "millimetre": "mm", "inch": "in", "inches": "in", '"': "in",
    "foot": "ft", "feet": "ft", "sec": "s", "second": "s", "seconds": "s", "minute": "min",
    "minutes": "min", "mins": "min", "hour": "h", "hours": "h", "hr": "h",
}  # fmt: skip

_NUMBER = re.compile(
    r"""^\s*(?P<sign>[-−+]?)\s*(?:
        (?P<whole>\d+)\s+(?P<num>\d+)\s*[/⁄]\s*(?P<den>\d+)   # 8 1/2
      | (?P<onlynum>\d+)\s*[/⁄]\s*(?P<onlyden>\d+)            # 1/2
      | (?P<decimal>\d+(?:[.,]\d+)?|[.,]\d+)                  # 240, 4.5, 4,5
    )""",
    re.VERBOSE,
)
_RANGE = re.compile(r"\d\s*(?:-|–|—|to|or)\s*\.?\d")
# ``1-1/2`` and ``1 and 1/2`` are one and a half: a range does not go downward.
_JOINED = re.compile(r"^(\s*[-−+]?\s*[1-9]\d*)\s*(?:-|and|&)\s*(\d+)\s*[/⁄]\s*(\d+)")
# Longer texts are no amounts (and would only be numbers too long to compute with).
LONGEST = 200
_GROUPED = re.compile(r"^\s*[-−+]?\d{1,3}(?:,\d{3})+(?!\d)")


class AmountError(WithRemedy):
    """An amount that cannot be understood."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number and the words after it."""

    number: Fraction
    unit: str


def exact(number: float) -> Fraction:
    """The decimal that a float is written as, exactly: 0.24 kg is 24/100 and no hair else.

    >>> exact(0.24)
    Fraction(6, 25)
    """
    return Fraction(repr(float(number)))


def amount(text: str) -> Amount:
    """Number and unit of an amount as written.

    Raises:
        AmountError: no number, a range, a division by zero.

    >>> amount("8 1/2 oz")
    Amount(number=Fraction(17, 2), unit='oz')
    >>> amount("1½ kg").number, amount("1-1/2 kg").number
    (Fraction(3, 2), Fraction(3, 2))
    """
    if len(text) > LONGEST:
        raise AmountError(f"{text[:20]!r}… is no amount", 'write for example "240 g"')
    plain = text
    for sign, fraction in VULGAR.items():
        plain = plain.replace(sign, f" {fraction}")
    joined = _JOINED.match(plain)
    if joined is not None and int(joined.group(2)) < int(joined.group(3)):
        plain = f"{joined.group(1)} {joined.group(2)}/{joined.group(3)}{plain[joined.end() :]}"
    if _RANGE.search(plain):
        raise AmountError(
            f"{text!r} is a range", "write one amount and put the range into the tolerance"
        )
    if _GROUPED.match(plain):
        raise AmountError(
            f"{text!r}: the comma could separate thousands or decimals",
            "write 1200 g without a comma, or 1.2 g with a point",
        )
    found = _NUMBER.match(plain)
    if found is None:
        raise AmountError(f"{text!r} does not begin with a number", 'write for example "240 g"')
    parts = found.groupdict()
    try:
        if parts["whole"] is not None:
            number = int(parts["whole"]) + Fraction(int(parts["num"]), int(parts["den"]))
        elif parts["onlynum"] is not None:
            number = Fraction(int(parts["onlynum"]), int(parts["onlyden"]))
        else:
            number = Fraction(parts["decimal"].replace(",", "."))
    except ZeroDivisionError as error:
        raise AmountError(f"{text!r} divides by zero", 'write for example "1/2 oz"') from error
    if parts["sign"] in ("-", "−"):
        number = -number
    return Amount(number, plain[found.end() :].strip())


def _unit(word: str) -> str:
    bare = word.strip().rstrip(".")
    return SPELT.get(bare.lower(), bare)


def quantity(text: str, units: dict[str, Fraction], example: str) -> float:
    """An amount in the base unit of `units` (kg, m, s, Pa).

    Raises:
        AmountError: no number or a unit that is not in `units`.

    >>> quantity("8 oz", MASS, "240 g")
    0.226796185
    >>> quantity("200 mm", LENGTH, "200 mm")
    0.2
    """
    read = amount(text)
    unit = _unit(read.unit)
    factor = units.get(unit) or units.get(unit.lower())
    if factor is None:
        known = ", ".join(units)
        what = (
            f"{text!r} has no unit"
            if not read.unit
            else f"{read.unit!r} is not a unit of this kind"
        )
        raise AmountError(what, f'write for example "{example}" (units: {known})')
    return float(read.number * factor)


def mass_kg(text: str) -> float:
    """A mass in kilograms.

    >>> mass_kg("240 g")
    0.24
    """
    return quantity(text, MASS, "240 g")


def volume_ml(text: str) -> float:
    """A volume in millilitres; a cup, pint or spoon without a country is the United States'.

    >>> volume_ml("1 cup"), volume_ml("2 metric cups")
    (236.5882365, 500.0)
    """
    read = amount(text)
    unit = volume_unit(read.unit)
    if unit is None:
        raise AmountError(
            f"{text!r} is not a volume", f'write for example "250 ml" (units: {", ".join(VOLUME)})'
        )
    return float(read.number * VOLUME[unit])


def volume_unit(words: str) -> str | None:
    """Name in `VOLUME` of a unit as people write it, None where it is none.

    >>> volume_unit("Tablespoons"), volume_unit("fl. oz."), volume_unit("US cups"), volume_unit("g")
    ('tbsp', 'fl oz', 'cup', None)
    """
    plain = " ".join(words.lower().replace(".", " ").replace("-", " ").split())
    plain = re.sub(r"^(?:us|u s|american) ", "", plain)
    for spelt in (plain, plain.removesuffix("s"), plain.replace("cupsful", "cupful")):
        if spelt in SPELT_VOLUME:
            return SPELT_VOLUME[spelt]
    return None


def length_m(text: str) -> float:
    """A length in metres."""
    return quantity(text, LENGTH, "200 mm")


def duration_s(text: str) -> float:
    """A duration in seconds."""
    return quantity(text, TIME, "60 s")


def pressure_pa(text: str) -> float:
    """A pressure in pascals."""
    return quantity(text, PRESSURE, "1009 hPa")


def temperature_c(text: str) -> float:
    """A temperature in degrees Celsius, from °C or °F.

    >>> temperature_c("350 °F")
    176.66666666666666
    """
    read = amount(text)
    return float(_celsius(read.number, read.unit, text))


def _celsius(number: Fraction, unit: str, text: str) -> Fraction:
    match unit.replace("°", "").replace("º", "").strip().lower():
        case "c" | "celsius" | "deg c" | "cel":
            return number
        case "f" | "fahrenheit" | "deg f":
            return (number - 32) * 5 / 9
    raise AmountError(f"{text!r} is not a temperature", 'write for example "175 °C" or "350 °F"')


def temperature_difference_k(text: str) -> float:
    """A difference of temperatures in kelvins, from °C, °F or K.

    >>> temperature_difference_k("9 °F")
    5.0
    """
    read = amount(text)
    match read.unit.replace("°", "").strip().lower():
        case "c" | "k" | "celsius":
            return float(read.number)
        case "f" | "fahrenheit":
            return float(read.number * 5 / 9)
    raise AmountError(f"{text!r} is not a difference of temperatures", 'write for example "2 °C"')


def temperature_with_spread(text: str) -> tuple[float, float | None]:
    """``23 ± 2 °C`` → (23.0, 2.0); ``23 °C`` → (23.0, None).

    >>> temperature_with_spread("73.4 ± 3.6 °F")
    (23.0, 2.0)
    """
    head, found, tail = text.replace("+/-", "±").replace("+-", "±").partition("±")
    if not found:
        return temperature_c(text), None
    spread = amount(tail)
    centre = amount(head)
    unit = centre.unit or spread.unit
    k = temperature_difference_k(f"{float(abs(spread.number))} {spread.unit or unit}")
    return float(_celsius(centre.number, unit, text)), k
