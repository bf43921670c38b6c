"""Estimates as a few words and as plain values, the same in every answer of a study."""

from typing import Any

from blinkspan.quantities import Estimate

_MINUS = "\N{MINUS SIGN}"


def told(estimate: Estimate, unit: str = "", digits: int = 1) -> str:
    """Return the value with its unit and its interval.

    Examples
    --------
    >>> told(Estimate(24.96, 20.14, 29.9, 0.95, "line"), "ms")
    '25.0 ms (20.1 to 29.9)'
    """
    low, high = plain(estimate.low, digits), plain(estimate.high, digits)
    value = plain(estimate.value, digits)
    return f"{value}{' ' if unit else ''}{unit} ({low} to {high})"


def listed(things: list[str], last: str = "and") -> str:
    """Return the things as one would say them.

    Examples
    --------
    >>> listed(["2", "3", "4"], "or")
    '2, 3 or 4'
    """
    if len(things) < 2:
        return "".join(things)
    return f"{', '.join(things[:-1])} {last} {things[-1]}"


def counted(number: int, thing: str) -> str:
    """Return a number of things, the word in its plural where there is not one.

    Examples
    --------
    >>> counted(1, "queued frame"), counted(3, "press")
    ('1 queued frame', '3 presses')
    """
    ending = "es" if thing.endswith("s") else "s"
    return f"{number} {thing}{'' if abs(number) == 1 else ending}"


def plain_estimate(estimate: Estimate) -> dict[str, Any]:
    """Return the estimate as plain values for a document."""
    return {
        "value": estimate.value,
        "low": estimate.low,
        "high": estimate.high,
        "level": estimate.level,
        "method": estimate.method,
    }


def scaled(estimate: Estimate, factor: float) -> Estimate:
    """Return the estimate in another unit; the factor is above zero."""
    return Estimate(
        factor * estimate.value,
        factor * estimate.low,
        factor * estimate.high,
        estimate.level,
        estimate.method,
    )


def plain(value: float, digits: int = 1) -> str:
    """Return the number with a true minus sign, and none before zero.

    Examples
    --------
    >>> plain(-0.04), plain(-3.25, 2)
    ('0.0', '−3.25')
    """
    text = f"{abs(value):.{digits}f}"
    return f"{_MINUS}{text}" if value < 0.0 and float(text) > 0.0 else text


def chance(share: float) -> str:
    """Return a chance with two decimals, never rounded to certainty.

    Examples
    --------
    >>> chance(0.9999), chance(0.246)
    ('above 0.99', '0.25')
    """
    return "above 0.99" if share > 0.99 else f"{share:.2f}"


def turned(estimate: Estimate) -> Estimate:
    """Return the estimate of the same difference taken the other way round."""
    return Estimate(-estimate.value, -estimate.high, -estimate.low, estimate.level, estimate.method)
