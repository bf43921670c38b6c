"""Turn what is known of a controller's link into the period at which it is polled.

References
----------
USB 2.0: frames of 1 ms, microframes of 125 µs; a high-speed interrupt endpoint
asks for 2 ** (n - 1) microframes. A host need not keep to what a device asks
for, so a period seen in data goes before one computed here.
Classic wireless links count slots of 0.625 ms; low-energy ones connect every
6 to 3200 units of 1.25 ms.
"""

import math

from blinkspan.errors import BadSetting

MICROFRAME_S = 125e-6
CLASSIC_SLOT_S = 0.625e-3
LOW_ENERGY_UNIT_S = 1.25e-3

# Wired controllers are polled every 1 to 8 ms (common practice): what to average
# over where nobody knows the link.
USUAL_WIRED_POLLS_S = (1e-3, 2e-3, 4e-3, 8e-3)


def high_speed_poll_s(exponent: int) -> float:
    """Return the seconds between polls of a wired high-speed link, exponent 1 to 16.

    Examples
    --------
    >>> high_speed_poll_s(4)
    0.001
    """
    if not 1 <= exponent <= 16:
        raise BadSetting(f"a high-speed interval of {exponent} cannot be; give 1 to 16")
    return float(2 ** (exponent - 1)) * MICROFRAME_S


def low_energy_poll_s(units: int) -> float:
    """Return the seconds between connections of a low-energy wireless link."""
    if not 6 <= units <= 3200:
        raise BadSetting(f"a connection interval of {units} units cannot be; give 6 to 3200")
    return units * LOW_ENERGY_UNIT_S


def wireless_poll_s(interval_s: float) -> float:
    """Return a wireless link's interval, snapped to whole slots of 0.625 ms where it is near.

    A link that counts no such slots, as makers' own do not, keeps the interval it states.

    Raises
    ------
    BadSetting
        An interval that is not above zero.

    Examples
    --------
    >>> wireless_poll_s(11.2502e-3), wireless_poll_s(8e-3)
    (0.01125, 0.008)
    """
    if not 0.0 < interval_s < math.inf:
        raise BadSetting(
            f"a wireless interval of {1e3 * interval_s:g} ms cannot be; give one above zero"
        )
    slots = round(interval_s / CLASSIC_SLOT_S)
    near = slots >= 1 and abs(interval_s / CLASSIC_SLOT_S - slots) <= 0.01
    return slots * CLASSIC_SLOT_S if near else interval_s
