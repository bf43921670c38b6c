"""The two traces of one press with their marks, as SVG in a page's own colours."""

import math
from html import escape

import numpy as np

from blinkspan.publish import words
from blinkspan.publish.parts import PressPart
from blinkspan.traces.trace import Trace

_WIDTH, _HEIGHT = 900, 252
_LEFT, _RIGHT = 104, 884
_LANES = {"lamp": (64, 132), "response": (146, 214)}  # top and bottom of each trace
_SHARE_OF_SPAN = 0.5  # of the window; the rest leaves room for what came before and after
_LEAD = 0.22
_SHORTEST_S, _UNANSWERED_S = 0.08, 0.4
_MOST_DOTS, _MOST_TICKS = 160, 12
_BAND_U = 2.0  # a mark's band holds the truth about 19 times in 20


def draw_traces(press: PressPart, lamp: Trace, response: Trace, exposure_s: float) -> str:
    """Return an SVG of the lamp's and the response’s light around one press.

    Each sample stands at the middle of its exposure; a mark's band is two
    standard uncertainties to each side.

    Parameters
    ----------
    press : PressPart
    lamp, response : Trace
        The take's traces, 0 to 1.
    exposure_s : float
        How long each sample gathered light.
    """
    begin_s, end_s = _window(press)
    scale = (_RIGHT - _LEFT) / (end_s - begin_s)

    def across(at_s: float) -> float:
        return _LEFT + (at_s - begin_s) * scale

    drawn = [
        f'<svg class="traces" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        f'aria-label="{escape(_alt(press))}">'
    ]
    drawn += _axis(press.lamp_on_s, begin_s, end_s, scale)
    for kind, trace in (("lamp", lamp), ("response", response)):
        drawn += _lane(kind, trace, exposure_s, (begin_s, end_s), scale)
    on = across(press.lamp_on_s)
    drawn += _mark("lamp", on, press.lamp_on_u_ms, scale)
    drawn.append(
        f'<text class="lamp" x="{on - 6:.1f}" y="18" text-anchor="end">'
        f"lamp on {words.seconds(press.lamp_on_s)}</text>"
    )
    if press.response_s is None:
        drawn.append(f'<text class="response" x="{on + 8:.1f}" y="18">no response found</text>')
    else:
        at = across(press.response_s)
        drawn += _mark("response", at, press.response_u_ms or 0.0, scale)
        drawn.append(
            f'<text class="response" x="{max(at, on) + 6:.1f}" y="18">'
            f"response {words.seconds(press.response_s)}</text>"
        )
        drawn += _span(press, on, at)
    drawn.append("</svg>")
    return "".join(drawn)


def _window(press: PressPart) -> tuple[float, float]:
    """Return the stretch of time to draw, so that the labels always have room."""
    on = press.lamp_on_s
    if press.response_s is None:
        length = _UNANSWERED_S
    else:
        length = max(abs(press.response_s - on) / _SHARE_OF_SPAN, _SHORTEST_S)
    begin = min(on, press.response_s or on) - _LEAD * length
    return begin, begin + length


def _alt(press: PressPart) -> str:
    told = f"Press {press.number}: lamp on at {words.seconds(press.lamp_on_s)}"
    if press.response_s is None:
        return f"{told}, no response found"
    return (
        f"{told}, response at {words.seconds(press.response_s)}, "
        f"span {words.with_u(press.span_ms, press.u_ms)}"
    )


def _axis(zero_s: float, begin_s: float, end_s: float, scale: float) -> list[str]:
    """Draw lines at round numbers of milliseconds after the lamp lit."""
    step = _round_step(1e3 * (end_s - begin_s) / _MOST_TICKS)
    first = math.ceil(1e3 * (begin_s - zero_s) / step)
    last = math.floor(1e3 * (end_s - zero_s) / step)
    top, bottom = _LANES["lamp"][0], _LANES["response"][1]
    drawn = []
    for tick in range(first, last + 1):
        x = _LEFT + (zero_s + tick * step / 1e3 - begin_s) * scale
        drawn.append(f'<path class="grid" d="M{x:.1f} {top}V{bottom}"/>')
        if x < _RIGHT - 44:  # the unit stands at the end
            drawn.append(
                f'<text class="tick" x="{x:.1f}" y="{bottom + 22}" text-anchor="middle">'
                f"{words.number(tick * step, 0)}</text>"
            )
    drawn.append(f'<text class="tick" x="{_RIGHT}" y="{bottom + 22}" text-anchor="end">ms</text>')
    return drawn


def _round_step(at_least_ms: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(at_least_ms, 1.0)))
    return next(power * f for f in (1, 2, 5, 10) if power * f >= at_least_ms or f == 10)


def _lane(
    kind: str, trace: Trace, exposure_s: float, window: tuple[float, float], scale: float
) -> list[str]:
    top, bottom = _LANES[kind]
    middle_s = trace.start_s + exposure_s / 2
    inside = (middle_s >= window[0]) & (middle_s <= window[1])
    values = trace.values[inside]
    low = min(0.0, float(values.min(initial=0.0)))
    high = max(1.0, float(values.max(initial=1.0)))
    xs = _LEFT + (middle_s[inside] - window[0]) * scale
    ys = bottom - (values - low) / (high - low) * (bottom - top)
    rest = bottom - (0.0 - low) / (high - low) * (bottom - top)
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in np.column_stack((xs, ys)))
    drawn = [
        f'<path class="rest" d="M{_LEFT} {rest:.1f}H{_RIGHT}"/>',
        f'<text class="{kind}" x="{_LEFT - 12}" y="{(top + bottom) / 2 + 5}" '
        f'text-anchor="end">{kind}</text>',
        f'<polyline class="{kind}" points="{path}"/>',
    ]
    if xs.size <= _MOST_DOTS:
        drawn += [
            f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}" r="2.6"/>'
            for x, y in zip(xs, ys, strict=True)
        ]
    return drawn


def _mark(kind: str, x: float, u_ms: float, scale: float) -> list[str]:
    half = _BAND_U * u_ms / 1e3 * scale
    top, bottom = _LANES["lamp"][0] - 36, _LANES["response"][1]
    return [
        f'<rect class="band {kind}" x="{x - half:.1f}" y="{top}" width="{2 * half:.1f}" '
        f'height="{bottom - top}"/>',
        f'<path class="mark {kind}" d="M{x:.1f} {top}V{bottom}"/>',
    ]


def _span(press: PressPart, on: float, at: float) -> list[str]:
    """Draw the span between the marks with its number above."""
    y = 48
    toward = 1 if at >= on else -1
    return [
        f'<path class="span" d="M{on:.1f} {y}H{at:.1f}m{-8 * toward} -5l{8 * toward} 5l'
        f'{-8 * toward} 5"/>',
        f'<text class="span" x="{(on + at) / 2:.1f}" y="{y - 8}" text-anchor="middle">'
        f"{words.with_u(press.span_ms, press.u_ms)}</text>",
    ]
