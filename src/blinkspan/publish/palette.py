"""The colours of reports and charts, dark on light and light on dark.

The choice is our own: a lamp's amber and a screen's blue, which stay apart for
people who confuse red with green; lightness and shape say the same again, so
that nothing rests on hue alone. Text stands at 4.5:1 or more on its ground and
marks at 3:1 or more (WCAG 2.2, 1.4.3 and 1.4.11); a test computes it.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Palette:
    """One set of colours, each ``#rrggbb``.

    Attributes
    ----------
    paper, card : str
        The page and a raised part of it.
    ink, quiet : str
        Main and secondary text.
    rule : str
        Hair lines; they carry no meaning.
    lamp, response : str
        What belongs to the lamp and what belongs to the screen.
    dot, middle : str
        A press in the chart; the median and its interval.
    good, doubt, bad : str
        Accepted, doubtful, rejected.
    """

    paper: str
    card: str
    ink: str
    quiet: str
    rule: str
    lamp: str
    response: str
    dot: str
    middle: str
    good: str
    doubt: str
    bad: str


LIGHT = Palette(
    paper="#ffffff",
    card="#f3f4ef",
    ink="#1b2126",
    quiet="#4b555d",
    rule="#cfd3d0",
    lamp="#9a5a00",
    response="#1f4fa3",
    dot="#2f6f94",
    middle="#a8470f",
    good="#0c6650",
    doubt="#7d5200",
    bad="#9c2430",
)
DARK = Palette(
    paper="#14181c",
    card="#1e2429",
    ink="#eceeea",
    quiet="#b1bac1",
    rule="#3c454c",
    lamp="#f0b04a",
    response="#8fb4ff",
    dot="#7cc0e6",
    middle="#ff9a5c",
    good="#6fd3b2",
    doubt="#f2c35c",
    bad="#ff9097",
)
