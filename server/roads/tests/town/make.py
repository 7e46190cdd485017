#!/usr/bin/env python3
"""Makes the map of an invented town, and drives through it by code of its own.

    pip install osmium networkx    (4.3.2 and 3.7 were used)
    python3 server/roads/tests/town/make.py

writes town.osm.pbf and drives.csv beside this file: the quickest seconds between places of the town, from the finished
file, by NetworkX's Dijkstra (A. Hagberg et al., BSD licence). Nothing here is shared with the crate.
"""
import csv
import math
import random
from pathlib import Path

import networkx
import osmium

HERE = Path(__file__).resolve().parent
PBF = HERE / "town.osm.pbf"
SIDE = 14  # crossings on a side
STEP = 0.0021  # degrees of latitude between crossings
SOUTH, WEST = 41.37, -91.82
RADIUS = 6_371_008.8  # metres


def town():
    """Nodes as {id: (latitude, longitude)} and ways as (id, nodes, tags)."""
    chance = random.Random(7)
    nodes, ways = {}, []
    at = lambda row, column: 1 + row * SIDE + column
    for row in range(SIDE):
        for column in range(SIDE):
            nodes[at(row, column)] = (
                SOUTH + STEP * row + chance.uniform(-0.0004, 0.0004),
                WEST + 1.3 * STEP * column + chance.uniform(-0.0005, 0.0005),
            )

    def way(path, **tags):
        ways.append((len(ways) + 1, path, {key.replace("__", ":"): str(value) for key, value in tags.items()}))

    for row in range(SIDE):
        path = [at(row, column) for column in range(SIDE)]
        if row == 6:
            way(path, highway="primary", maxspeed="45 mph", name="Larkmoor Road")
        elif row % 3 == 1:
            # Every third street is one-way, by turns east and west.
            way(path, highway="residential", oneway="yes" if row % 2 else "-1")
        else:
            way(path, highway="residential")
    for column in range(SIDE):
        path = [at(row, column) for row in range(SIDE)]
        if column == 4:
            way(path, highway="secondary", maxspeed="60")
        elif column == 9:
            way(path, highway="footway")  # nobody drives here
        elif column == 11:
            way(path, highway="service", access="private", motor_vehicle="yes")
        else:
            way(path, highway="tertiary" if column % 2 else "residential")
    number = SIDE * SIDE
    # A ring that is driven one way round, joined at one point.
    ring = []
    for turn in range(8):
        number += 1
        angle = math.tau * turn / 8
        nodes[number] = (SOUTH + STEP * 15 + 0.0006 * math.sin(angle), WEST + 0.011 + 0.0008 * math.cos(angle))
        ring.append(number)
    way([*ring, ring[0]], highway="tertiary", junction="roundabout")
    way([ring[6], at(SIDE - 1, 4)], highway="tertiary")
    # Streets nobody can get to, on the far side of a river without a bridge.
    island = []
    for place in range(4):
        number += 1
        nodes[number] = (SOUTH - 0.02, WEST + 0.002 * place)
        island.append(number)
    way(island, highway="residential")
    way([island[0], at(0, 0)], highway="service", access="no")
    # A bypass: longer and quicker.
    bypass = []
    for place in range(12):
        number += 1
        nodes[number] = (SOUTH - 0.004 + 0.0003 * (place % 2), WEST - 0.003 + 0.0034 * place)
        bypass.append(number)
    way([at(0, 0), *bypass, at(0, SIDE - 1)], highway="trunk")
    # A street from which there is no way back.
    number += 1
    nodes[number] = (SOUTH + STEP * 3, WEST - 0.004)
    way([at(3, 0), number], highway="service", oneway="yes")
    way([at(2, 2), at(3, 2), at(3, 3), at(2, 3), at(2, 2)], building="yes")
    return nodes, ways


def write(nodes, ways):
    PBF.unlink(missing_ok=True)
    with osmium.SimpleWriter(str(PBF)) as out:
        for ref, (latitude, longitude) in sorted(nodes.items()):
            out.add_node(osmium.osm.mutable.Node(id=ref, location=(longitude, latitude), version=1))
        for ref, path, tags in ways:
            out.add_way(osmium.osm.mutable.Way(id=ref, nodes=path, tags=tags, version=1))


MPH = {"motorway": 65, "trunk": 55, "primary": 45, "secondary": 40, "tertiary": 35, "residential": 25, "service": 12}


def metres(a, b):
    (lat_a, lon_a), (lat_b, lon_b) = a, b
    p, q = math.radians(lat_a), math.radians(lat_b)
    h = math.sin((q - p) / 2) ** 2 + math.cos(p) * math.cos(q) * math.sin(math.radians(lon_b - lon_a) / 2) ** 2
    return 2 * RADIUS * math.asin(math.sqrt(h))


def graph():
    """The drivable network of the finished file."""
    spots, roads = {}, networkx.DiGraph()
    for item in osmium.FileProcessor(str(PBF)):
        if item.is_node():
            spots[item.id] = (item.lat, item.lon)
            continue
        tags = dict(item.tags)
        kind = tags.get("highway")
        allowed = tags.get("motor_vehicle") or tags.get("vehicle") or tags.get("access")
        if kind not in MPH or allowed in ("no", "private"):
            continue
        speed = tags.get("maxspeed", f"{MPH[kind]} mph").split()
        pace = float(speed[0]) * (1_609.344 if speed[1:] == ["mph"] else 1_000) / 3_600  # metres per second
        both = "oneway" not in tags and tags.get("junction") != "roundabout"
        refs = [node.ref for node in item.nodes]
        if tags.get("oneway") == "-1":
            refs.reverse()
        for a, b in zip(refs, refs[1:]):
            length = metres(spots[a], spots[b])
            for x, y in [(a, b)] + [(b, a)] * both:
                kept = roads.get_edge_data(x, y)
                if kept is None or kept["seconds"] > length / pace:
                    roads.add_edge(x, y, seconds=length / pace, metres=length)
    return spots, roads


def main():
    write(*town())
    spots, roads = graph()
    part = sorted(max(networkx.strongly_connected_components(roads), key=len))
    chance = random.Random(3)
    places = sorted(chance.sample(part, 24))
    with open(HERE / "drives.csv", "w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["from_latitude", "from_longitude", "to_latitude", "to_longitude", "seconds", "metres"])
        for a in places:
            times, paths = networkx.single_source_dijkstra(roads, a, weight="seconds")
            for b in places:
                length = sum(roads[x][y]["metres"] for x, y in zip(paths[b], paths[b][1:]))
                rows.writerow([*spots[a], *spots[b], f"{times[b]:.3f}", f"{length:.3f}"])


if __name__ == "__main__":
    main()
