"""Links as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from survey.links import CARRIERS, STATES, WAYS, Links, carried_by
from survey.records.values import Record, plain

FIGURES = (
    "distance_m",
    "base_loss_db",
    "obstacle_loss_db",
    "path_loss_db",
    "uplink_level_dbm",
    "uplink_margin_db",
    "downlink_level_dbm",
    "downlink_margin_db",
    "margin_db",
    "sigma_db",
    "reliability",
)
"""The figures of a link, in the order in which they are told: fields of `Links`."""


def link_records(links: Links, gateway_of: Sequence[int] | None = None) -> list[Record]:
    """Every link, inverter by inverter; or only the link of each inverter to its gateway, by index."""
    columns = {name: plain(getattr(links, name)) for name in FIGURES}
    around = {name: plain(values) for name, values in links.around_db.items()}
    states, carriers = links.state.tolist(), carried_by(links).tolist()
    records = []
    for i, inverter in enumerate(links.inverters.names):
        for j in range(len(links.gateways)) if gateway_of is None else [gateway_of[i]]:
            gateway = links.gateways.names[j]
            one = {name: values[i][j] for name, values in columns.items()}
            records.append(
                {
                    "inverter": inverter,
                    "gateway": gateway,
                    "distance_m": one["distance_m"],
                    "base_loss_db": one["base_loss_db"],
                    "obstacle_loss_db": one["obstacle_loss_db"],
                    "path_loss_db": one["path_loss_db"],
                    "crossed": [{"obstacle": name, "loss_db": plain(loss_db)} for name, loss_db in links.met_by(i, j)],
                    "around": {f"{way}_db": around[way][i][j] for way in WAYS},
                    "carried_by": CARRIERS[carriers[i][j]],
                    "mirror": links.mirror_of(i, j) or None,
                    "uplink": {"level_dbm": one["uplink_level_dbm"], "margin_db": one["uplink_margin_db"]},
                    "downlink": {"level_dbm": one["downlink_level_dbm"], "margin_db": one["downlink_margin_db"]},
                    "margin_db": one["margin_db"],
                    "sigma_db": one["sigma_db"],
                    "reliability": one["reliability"],
                    "state": STATES[states[i][j]],
                }
            )
    return records


def links_record(links: Links) -> Record:
    """What `survey links --json` prints."""
    return {"plan": links.scene.plan.file, "site": links.scene.plan.site.name, "links": link_records(links)}
