"""Numbers as a person types them into a field."""

from blinkspan.errors import BadSetting


def typed_number(text: str, what: str, unit: str = "ms") -> float | None:
    """Return a number that was typed, with a point or a comma; None where nothing was.

    Raises
    ------
    BadSetting
        It is no number.

    Examples
    --------
    >>> typed_number(" 4,2 ", "the margin"), typed_number("", "the margin")
    (4.2, None)
    """
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise BadSetting(
            f"{what} is {text[:40]!r}, which is no number of {unit}; write one such as 4.2"
        ) from error
