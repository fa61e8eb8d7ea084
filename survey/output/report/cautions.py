"""The cautions of the page: sentences of docs/cautions.md, in the same words."""

CAUTIONS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Work at height",
        (
            "Measure from the ground where you can: a laser measure, a drawing, a count of bricks or sheets.",
            (
                "For roofs, ladders, masts and lifts, follow the local rules for work at height: edge protection, "
                "anchor points, a second person, no work in wind, rain or frost."
            ),
            "Do not step on modules, roof lights, or sheets that may not carry your weight.",
        ),
    ),
    (
        "Mains and direct current",
        (
            "Only a licensed electrician may connect a gateway or a socket to the mains and test it.",
            (
                "A string of modules is live whenever there is light, even with the inverter switched off. You must "
                "not open plugs under load."
            ),
        ),
    ),
    (
        "Metal, lightning, fuel",
        (
            (
                "An outdoor mast or antenna may need earthing, or a distance from the lightning protection system. Ask "
                "the person responsible for that system before you fix anything to a roof."
            ),
            (
                "Keep radios, sockets and cables out of the hazardous zones of fuel tanks, gas bottles and battery "
                "rooms. The zone plan of the site shows how far they reach."
            ),
            "Overhead lines: keep the distance that the grid company requires, with ladders and masts too.",
        ),
    ),
    (
        "Radio rules",
        (
            (
                "Local law limits radio transmission in each band: power, antenna, duty cycle, and listening before "
                "sending."
            ),
        ),
    ),
    (
        "A prediction is not a measurement",
        (
            (
                "Before you fix anything to a wall, put the gateway there for a day, with safe power. Read the levels "
                "of the weakest inverters and of those that survey place names."
            ),
            (
                "Do not use these predictions for safety functions: shutdown and alarm links must meet their own "
                "standards."
            ),
        ),
    ),
)
"""Heading and sentences; a test holds them to the document."""
FIRST = (
    "These notes are reminders. They do not replace local codes, the makers' instructions, or the judgement of the "
    "licensed person. If a note differs from a local rule, follow the rule."
)
