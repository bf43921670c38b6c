"""The cautions that belong beside every result, in words of our own."""

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Opening a controller",
        "Unplug it and take its battery out first. Short nothing: a lithium cell that is shorted, "
        "bent or pierced can burn. An opened controller usually loses its warranty.",
    ),
    (
        "Wiring the lamp",
        "Low voltage only, from the controller's own supply or a small battery, and always with a "
        "series resistor. Never connect it to anything that is fed from the mains.",
    ),
    (
        "Soldering",
        "The tip is hot enough to burn skin and set things alight, and the fumes irritate: "
        "ventilate, wear eye protection, and wash your hands afterwards.",
    ),
    (
        "Flashing pictures",
        "Test patterns, muzzle flashes and lamps can trigger seizures in people with "
        "photosensitive epilepsy. Warn those who watch, and stop if anyone feels unwell.",
    ),
    (
        "When in doubt",
        "Local codes, the makers' instructions and qualified people come before this page.",
    ),
)
