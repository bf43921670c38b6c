"""Regions of the picture as a person writes them on the command line."""

import math
from collections.abc import Callable
from typing import TypeVar

import click

from blinkspan.errors import BadRegion
from blinkspan.traces.regions import Point, Quadrilateral, Rectangle

_Number = TypeVar("_Number", int, float)


def box(_ctx: click.Context, param: click.Parameter, text: str | None) -> Rectangle | None:
    """Return the box that an option's X,Y,W,H name, None where it was not given.

    Raises
    ------
    BadRegion
        The text is not four whole numbers.
    """
    if text is None:
        return None
    numbers = _numbers(text, int)
    if numbers is None or len(numbers) != 4:
        raise BadRegion(
            f"{param.opts[0]} {text} is no region; give X,Y,W,H in whole pixels, "
            "such as 60,280,20,20"
        )
    x, y, width, height = numbers
    return Rectangle(x, y, width, height)


def panel_corners(
    _ctx: click.Context, param: click.Parameter, text: str | None
) -> Quadrilateral | None:
    """Return the quadrilateral that an option's box or four corners name, None where not given.

    Raises
    ------
    BadRegion
        The text is neither four nor eight numbers.
    """
    if text is None:
        return None
    numbers = _numbers(text, float)
    if numbers is None or len(numbers) not in (4, 8):
        raise BadRegion(
            f"{param.opts[0]} {text} is no panel; give X,Y,W,H, or its four corners "
            "X1,Y1,X2,Y2,X3,Y3,X4,Y4 from top left clockwise"
        )
    if len(numbers) == 4:
        x, y, width, height = numbers
        right, bottom = x + width, y + height
        return Quadrilateral(((x, y), (right, y), (right, bottom), (x, bottom)))
    corners: list[Point] = list(zip(numbers[::2], numbers[1::2], strict=True))
    return Quadrilateral((corners[0], corners[1], corners[2], corners[3]))


def box_words(box: Rectangle) -> str:
    """Return the box as the command line takes it."""
    return f"{box.x},{box.y},{box.width},{box.height}"


def panel_words(panel: Quadrilateral) -> str:
    """Return the panel's corners as the command line takes them."""
    return ",".join(f"{value:.1f}".removesuffix(".0") for point in panel.corners for value in point)


def _numbers(text: str, kind: Callable[[str], _Number]) -> list[_Number] | None:
    """Return the numbers between commas, None where one of them is none."""
    try:
        numbers = [kind(part) for part in text.split(",")]
    except ValueError:
        return None
    return numbers if all(map(math.isfinite, numbers)) else None
