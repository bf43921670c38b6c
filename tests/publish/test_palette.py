"""The colours: published (contrast by WCAG 2.2's own formula), for light and dark."""

import numpy as np
import pytest

from blinkspan.publish.palette import DARK, LIGHT


def luminance(colour: str) -> float:
    """Return the relative luminance as WCAG 2.2 defines it."""
    codes = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    light = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in codes]
    return float(np.dot(light, (0.2126, 0.7152, 0.0722)))


def contrast(one: str, other: str) -> float:
    bright, dim = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def test_the_formula_gives_the_known_ratios():
    assert contrast("#ffffff", "#000000") == 21  # WCAG 2.2, contrast ratio, range 1 to 21
    # The lightest grey that passes AA on white: common practice.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert contrast("#777777", "#ffffff") < 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["ink", "quiet", "lamp", "response", "good", "doubt", "bad"])
def test_text_stands_out_from_page_and_card(palette, name):
    colour = getattr(palette, name)
    assert contrast(colour, palette.paper) >= 4.5  # WCAG 2.2, 1.4.3 (AA)
    assert contrast(colour, palette.card) >= 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["dot", "middle", "lamp", "response"])
def test_marks_stand_out_from_page_and_card(palette, name):
    colour = getattr(palette, name)
    assert contrast(colour, palette.paper) >= 3  # WCAG 2.2, 1.4.11 (AA)
    assert contrast(colour, palette.card) >= 3


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("one", "other"), [("lamp", "response"), ("dot", "middle")])
def test_what_must_be_told_apart_does_not_rest_on_red_against_green(palette, one, other):
    # Whoever confuses red with green still sees blue against yellow.
    def blue_against_yellow(name: str) -> float:
        red, green, blue = (int(getattr(palette, name)[i : i + 2], 16) / 255 for i in (1, 3, 5))
        return blue - (red + green) / 2

    assert abs(blue_against_yellow(one) - blue_against_yellow(other)) > 0.4
