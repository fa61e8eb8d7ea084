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
            "Do not step on modules, roof lights, or sheets that may not carry you.",
        ),
    ),
    (
        "Mains and direct current",
        (
            "Only a licensed electrician connects a gateway or a socket to the mains, and tests it.",
            (
                "A string of modules is live whenever there is light, also with the inverter switched off. Do not open "
                "plugs under load."
            ),
        ),
    ),
    (
        "Metal, lightning, fuel",
        (
            (
                "A mast or an antenna outside may have to be earthed or kept clear of a lightning protection system: "
                "ask whoever looks after it before you fix anything to a roof."
            ),
            (
                "Keep radios, sockets and cables out of the hazardous zone of fuel tanks, gas bottles and battery "
                "rooms; the site's zone plan says how far it reaches."
            ),
            "Overhead lines: keep the distance that the grid company asks for, with ladders and masts as well.",
        ),
    ),
    (
        "Radio rules",
        (
            (
                "What a radio may send is limited by local law, by band: power, antenna, duty cycle, listening before "
                "sending."
            ),
        ),
    ),
    (
        "A prediction is no measurement",
        (
            (
                "Before anything is screwed to a wall, put the gateway there for a day, powered safely, and read the "
                "level of the inverters that decide: the weakest ones, and those that survey place names."
            ),
            (
                "Nothing here is for links on which safety depends: shutdown and alarm need what their own standards "
                "ask for."
            ),
        ),
    ),
)
"""Heading and sentences; a test holds them to the document."""
FIRST = (
    "These notes remind; they do not replace local codes, the makers' instructions, or the judgement of whoever is "
    "licensed for the work. Where they differ from a local rule, the rule holds."
)
