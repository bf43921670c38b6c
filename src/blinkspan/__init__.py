"""From the blink of a lamp wired to a button to the screen's answer."""
