"""Advice that names an option of the command line, said in the words of the page.

The jobs tell what helps by the option that would say it. On a page there is
none: the same is said in a form, a profile, or by a box in the picture.
"""

import re

# What the jobs say, and the same on a page; the first that fits holds, longer before shorter.
_ON_PAGE = (
    (r"--capture-rate with the camera's own rate", "the camera’s own rate before you measure it"),
    (r"--capture-rate (\d+(?:\.\d+)?)", r"\1 as the rate it was filmed at"),
    (r"--capture-rate", "the rate it was filmed at"),
    (r"--readout", "the readout in a camera profile"),
    (r"with --lag", "in a display profile"),
    (r"--lag", "the lag in a display profile"),
    (r"(?:that )?--lamp X,Y,W,H covers", "that the lamp’s box covers"),
    (r"--lamp(?: X,Y,W,H)?", "the lamp’s box"),
    (r"--panel", "the panel’s four corners"),
    (r"--watch", "the watched part’s box"),
    (r"with --build", "among the setup’s conditions"),
    (r"with --game-rate", "on the page of the take"),
    (r"--game-rate", "the game’s rate"),
    (r"give it with --poll", "give it in the form"),
    (r"give --fixed and --fixed-u", "give both in the form"),
    (r"with --name", "by the names of their setups"),
)


def on_page(told: str) -> str:
    """Return what a job tells, in words that hold on a page.

    Examples
    --------
    >>> on_page("all times are too long, so give --capture-rate 240.")
    'all times are too long, so give 240 as the rate it was filmed at.'
    """
    for option, words in _ON_PAGE:
        told = re.sub(option, words, told)
    return told
