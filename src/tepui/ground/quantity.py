"""Text into SI, once, at the edge: a number, its unit, and how far it may be trusted.

Theory  NUMBER UNIT, then optionally a 95 % doubt (± NUMBER UNIT, or ± N %); or A..B UNIT, anything between.
        The doubt's unit may be left out where it is the same. Read exactly, rounded once to the nearest float.
Source  tepui's own grammar; units as tepui.ground.units lists them.
Holds   A point as decimal mark, no thousands separators, case as the SI writes it. Nothing is guessed: a number
        without a unit, or with one of another kind, is a sentence that shows how to write it. Of a percentage,
        "± 5 %" is five points; of other quantities it is a share of the value.
"""

import difflib
import re
from dataclasses import dataclass
from fractions import Fraction

from tepui.ground.errors import QuantityError
from tepui.ground.units import KINDS, Kind

_NUMBER = r"(?:[0-9]{1,30}(?:\.[0-9]{1,30})?(?:[eE][+-]?[0-9]{1,2})?)"
_SIGNED = rf"[+-]?{_NUMBER}"
_UNIT = r"[^\s0-9.,+±-][^\s,±]*"
_VALUE = re.compile(
    rf"(?P<number>{_SIGNED}) ?(?P<unit>{_UNIT})?(?: ?± ?(?P<doubt>{_NUMBER}) ?(?P<doubt_unit>{_UNIT})?)?"
)
_RANGE = re.compile(rf"(?P<low>{_SIGNED}) ?\.\. ?(?P<high>{_SIGNED}) ?(?P<unit>{_UNIT})?")
_FRACTION = re.compile(r"(?P<over>[0-9]{1,9})/(?P<under>[0-9]{1,9})")
_SEPARATED = re.compile(r"[0-9][ _'’][0-9]")
# Typing that means the same: minus signs, micro signs, spaces, the plus-minus of a plain keyboard.
_SAME = str.maketrans({"−": "-", "–": "-", "μ": "µ", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2126": "Ω"})


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A number in SI, with what the operator said about it.

    value      the number; of a range its middle
    low, high  95 % doubt or the ends of the range; both None where no doubt was stated
    unit       SI unit (dB, dBm, dBi, dBc/Hz, deg and 1 stand as they are)
    is_range   written as A..B: anything between, not a value with a doubt
    text       as written
    """

    value: float
    low: float | None
    high: float | None
    unit: str
    kind: str
    text: str
    is_range: bool = False


def parse_quantity(text: object, *, kind: str) -> Quantity:
    """Read one quantity of the given kind (a key of ``units.KINDS``).

    raises  QuantityError: one sentence with what was found, what is allowed and the likely cure

    >>> parse_quantity("1286 MHz ± 5 kHz", kind="frequency").high
    1286005000.0
    """
    rule = KINDS[kind]
    if not isinstance(text, str):
        if kind in ("count", "quality") and isinstance(text, int) and not isinstance(text, bool):
            return parse_quantity(str(text), kind=kind)
        raise _no_text(text, rule)
    plain = re.sub(r" +", " ", text.translate(_SAME).strip().replace("+-", "±").replace("+/-", "±"))
    if kind == "fraction":
        return _quantity(text, kind, _fraction(text, plain))
    _refuse_separators(text, plain, rule)
    match = _RANGE.fullmatch(plain)
    if match:
        low, high = (_in_si(text, match[end], match["unit"], rule) for end in ("low", "high"))
        if low > high:
            raise QuantityError(f'"{text}" runs backwards: write the lower end first.')
        return _quantity(text, kind, (low + high) / 2, ends=(low, high), is_range=True)
    match = _VALUE.fullmatch(plain)
    if not match:
        raise _no_number(text, plain, rule)
    value = _in_si(text, match["number"], match["unit"], rule)
    if match["doubt"] is None:
        return _quantity(text, kind, value)
    doubt = _doubt(match, text=text, value=value, rule=rule)
    return _quantity(text, kind, value, ends=(value - doubt, value + doubt))


def parse_quantities(text: object, *, kind: str) -> tuple[Quantity, ...]:
    """Read a list such as "174..230 MHz, 470..862 MHz"; a comma and a space part its members.

    raises  QuantityError
    """
    if not isinstance(text, str):
        return (parse_quantity(text, kind=kind),)
    return tuple(parse_quantity(part, kind=kind) for part in re.split(r",\s+", text.strip()))


def quantity_value(text: object, *, kind: str) -> float:
    """The number alone, in SI; a doubt is read and left aside.

    raises  QuantityError, also for a range, which has no one value
    """
    quantity = parse_quantity(text, kind=kind)
    if quantity.is_range:
        raise QuantityError(f'"{text}" is a range; here one value is wanted.')
    return quantity.value


def parse_fraction(text: object) -> Fraction:
    """A fraction as it is written, such as "1/16", exactly.

    raises  QuantityError
    """
    parse_quantity(text, kind="fraction")
    return _fraction(str(text), str(text).strip())


def _quantity(
    text: str, kind: str, value: Fraction, *, ends: tuple[Fraction, Fraction] | None = None, is_range: bool = False
) -> Quantity:
    return Quantity(
        value=float(value),
        low=float(ends[0]) if ends else None,
        high=float(ends[1]) if ends else None,
        unit=KINDS[kind].si_unit,
        kind=kind,
        text=text,
        is_range=is_range,
    )


def _fraction(text: str, plain: str) -> Fraction:
    match = _FRACTION.fullmatch(plain)
    if not match or int(match["under"]) == 0:
        raise QuantityError(f'"{text}" is not a fraction: write two whole numbers with a stroke, such as "1/16".')
    return Fraction(int(match["over"]), int(match["under"]))


def _in_si(text: str, number: str, unit_name: str | None, rule: Kind) -> Fraction:
    if not rule.units:
        if unit_name is not None or Fraction(number).denominator != 1:
            raise QuantityError(f'"{text}" is not {rule.noun}: write a whole number without a unit, such as "12".')
        value = Fraction(number)
    else:
        if unit_name is None:
            raise _without_unit(text, rule, number=number)
        if unit_name not in rule.units:
            raise QuantityError(_wrong_unit(text, unit_name, list(rule.units), f"{rule.noun} is written with"))
        unit = rule.units[unit_name]
        value = Fraction(number) * unit.factor + unit.offset
    if rule.lowest is not None and value < rule.lowest:
        noun = rule.noun.partition(" ")[2]
        raise QuantityError(f'"{text}" is below {rule.lowest:g} {rule.si_unit}, the least {noun} there is.')
    return value


def _doubt(match: re.Match[str], *, text: str, value: Fraction, rule: Kind) -> Fraction:
    number, name = Fraction(match["doubt"]), match["doubt_unit"]
    first = next(iter(rule.doubts), "")
    if name == "%" and "%" not in rule.units:
        if not rule.relative:
            raise QuantityError(f'"{text}": a doubt in per cent of {rule.noun} has no meaning; write it in {first}.')
        return abs(value) * number / 100
    if not rule.units:
        if name is not None:
            raise QuantityError(f'"{text}": the doubt of {rule.noun} is a number without a unit, or per cent.')
        return number
    if name is None:
        return number * rule.doubts.get(match["unit"], rule.doubts[first])
    if name not in rule.doubts:
        raise QuantityError(_wrong_unit(text, name, list(rule.doubts), f"the doubt of {rule.noun} is written with"))
    return number * rule.doubts[name]


def _refuse_separators(text: str, plain: str, rule: Kind) -> None:
    if re.search(r"[0-9],[0-9]", plain):
        readings = [plain.replace(",", ".")] if plain.count(",") == 1 else []
        if re.search(r"[0-9],[0-9]{3}(?![0-9])", plain):
            readings.append(plain.replace(",", ""))
        cure = ", so write " + " or ".join(f'"{one}"' for one in readings) if readings else ""
        raise QuantityError(f'"{text}" has a comma: the decimal mark is a point and thousands have no mark{cure}.')
    if _SEPARATED.search(plain):
        cure = re.sub(r"(?<=[0-9])[ _'’](?=[0-9])", "", plain)
        raise QuantityError(f'"{text}" parts its digits: write {rule.noun} without a thousands mark, "{cure}".')


def _no_number(text: str, plain: str, rule: Kind) -> QuantityError:
    if ".." in plain:
        return QuantityError(
            f'"{text}" is not a range: write its ends and the unit once, such as "{_example("10..20", rule)}".'
        )
    unit = " and a unit" if rule.units else ""
    return QuantityError(f'"{text}" is not {rule.noun}: write a number{unit}, such as "{_example("12", rule)}".')


def _no_text(found: object, rule: Kind) -> QuantityError:
    if isinstance(found, int | float) and not isinstance(found, bool) and rule.units:
        return _without_unit(str(found), rule, number=str(found))
    example = rule.example if rule.example == "1/16" else _example("12", rule)
    return QuantityError(f'{found!r} is not {rule.noun}: write it as text, such as "{example}".')


def _example(number: str, rule: Kind) -> str:
    return f"{number} {rule.example}".strip()


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def _without_unit(text: str, rule: Kind, *, number: str) -> QuantityError:
    allowed = _listed(list(rule.units))
    return QuantityError(
        f'"{text}" has no unit: {rule.noun} is written with {allowed}, such as "{_example(number, rule)}".'
    )


def _wrong_unit(text: str, found: str, allowed: list[str], lead: str) -> str:
    nearest = _nearest_unit(found, allowed)
    cure = f" Nearest: {nearest}." if nearest else ""
    return f'"{text}": {lead} {_listed(allowed)} (case counts), not {found}.{cure}'


def _nearest_unit(found: str, allowed: list[str]) -> str | None:
    folded = found.casefold()
    for test in (str.__eq__, str.startswith):
        for name in allowed:
            if test(name.casefold(), folded):
                return name
    close = difflib.get_close_matches(folded, [name.casefold() for name in allowed], n=1, cutoff=0.5)
    return next((name for name in allowed if close and name.casefold() == close[0]), None)
