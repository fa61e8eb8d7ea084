"""Every command that writes a file: its words up to the file's name, and the ending of that name."""

WRITERS = {
    "start": (["start"], ".toml"),
    "check": (["check", "plan.toml", "--out"], ".txt"),
    "check --sheets": (["check", "plan.toml", "--sheets"], ".toml"),
    "links": (["links", "plan.toml", "--fit", "fit.json", "--out"], ".txt"),
    "links JSON": (["links", "plan.toml", "--out"], ".json"),
    "links CSV": (["links", "plan.toml", "--out"], ".csv"),
    "place": (["place", "plan.toml", "--draws", "2", "--out"], ".txt"),
    "compare": (["compare", "plan.toml", "pole", "office", "--draws", "2", "--out"], ".txt"),
    "compare --with": (["compare", "plan.toml", "pole", "--with", "other.toml", "--draws", "2", "--out"], ".txt"),
    "explain": (["explain", "plan.toml", "P1", "--out"], ".txt"),
    "network": (["network", "plan.toml", "--out"], ".txt"),
    "network --graphml": (["network", "plan.toml", "--graphml"], ".graphml"),
    "fit": (["fit", "plan.toml", "readings.csv", "--out"], ".json"),
    "dropouts": (["dropouts", "plan.toml", "log.csv", "--out"], ".txt"),
    "draw SVG": (["draw", "plan.toml", "--out"], ".svg"),
    "draw PNG": (["draw", "plan.toml", "--out"], ".png"),
    "draw PDF": (["draw", "plan.toml", "--kind", "days", "--log", "log.csv", "--out"], ".pdf"),
    "export CSV": (["export", "plan.toml", "--out"], ".csv"),
    "export GeoJSON": (["export", "plan.toml", "--out"], ".geojson"),
    "export DXF": (["export", "plan.toml", "--out"], ".dxf"),
    "report": (
        ["report", "plan.toml", "--draws", "2", "--readings", "readings.csv", "--log", "log.csv", "--out"],
        ".html",
    ),
    "materials": (["materials", "--out"], ".json"),
}
