"""The shapes of the program's JSON, as the interface fixes them, and a check against a shape."""

NUMBER = (int, float)
MAYBE = (int, float, type(None))

LINK = {
    "inverter": str,
    "gateway": str,
    "distance_m": NUMBER,
    "base_loss_db": NUMBER,
    "obstacle_loss_db": NUMBER,
    "path_loss_db": NUMBER,
    "crossed": [{"obstacle": str, "loss_db": NUMBER}],
    "around": {"over_db": MAYBE, "left_db": MAYBE, "right_db": MAYBE, "reflected_db": MAYBE},
    "carried_by": str,
    "mirror": (str, type(None)),
    "uplink": {"level_dbm": NUMBER, "margin_db": NUMBER},
    "downlink": {"level_dbm": NUMBER, "margin_db": NUMBER},
    "margin_db": NUMBER,
    "sigma_db": NUMBER,
    "reliability": NUMBER,
    "state": str,
}
RANKED = {
    "spot": str,
    "served": int,
    "expected_served": NUMBER,
    "worst_inverter": str,
    "worst_margin_db": NUMBER,
    "median_margin_db": NUMBER,
    "best_share": MAYBE,
    "existing": bool,
}
DRAWN = {"mean": NUMBER, "low": int, "high": int, "mean_error": NUMBER}
MORE = {"share": NUMBER, "by": NUMBER}


def differences(value, shape, where="$"):
    """Where a value is not of a shape: a type, several types, a list of one shape, or keys with their shapes."""
    if isinstance(shape, dict):
        if not isinstance(value, dict):
            return [f"{where} is no object"]
        missing = [f"{where}.{key} is missing" for key in shape if key not in value]
        more = [f"{where}.{key} is not in the interface" for key in value if key not in shape]
        inner = [one for key in shape if key in value for one in differences(value[key], shape[key], f"{where}.{key}")]
        return [*missing, *more, *inner]
    if isinstance(shape, list):
        if not isinstance(value, list):
            return [f"{where} is no list"]
        return [one for number, item in enumerate(value) for one in differences(item, shape[0], f"{where}[{number}]")]
    types = shape if isinstance(shape, tuple) else (shape,)
    return [] if type(value) in types else [f"{where} is a {type(value).__name__}"]
