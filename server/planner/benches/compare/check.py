"""Reads public instances of vehicle routing with time windows and checks routes against them.

Convention "dimacs-trunc1": distance and travel time are int(10 * euclid); windows and service times times ten; the depot
has no service time; the objective is the total distance; the number of vehicles is a ceiling. Everything is counted in
these tenths. Shares no code with the engine.
"""

import math
from dataclasses import dataclass
from pathlib import Path


@dataclass
class Instance:
    name: str
    vehicles: int
    capacity: int
    points: list  # (x, y); the depot first
    demand: list
    open: list  # tenths
    close: list  # tenths
    service: list  # tenths

    @property
    def size(self):
        return len(self.points) - 1

    def distance(self, a, b):
        (ax, ay), (bx, by) = self.points[a], self.points[b]
        return int(10 * math.sqrt((ax - bx) ** 2 + (ay - by) ** 2))


def read(path):
    rows = [line.split() for line in Path(path).read_text().splitlines() if line.strip()]
    numbers = [row for row in rows if row[0].lstrip("-").isdigit()]
    vehicles, capacity = int(numbers[0][0]), int(numbers[0][1])
    stops = [[float(field) for field in row[:7]] for row in numbers[1:]]
    return Instance(
        name=Path(path).stem,
        vehicles=vehicles,
        capacity=capacity,
        points=[(row[1], row[2]) for row in stops],
        demand=[int(row[3]) for row in stops],
        open=[int(10 * row[4]) for row in stops],
        close=[int(10 * row[5]) for row in stops],
        service=[0] + [int(10 * row[6]) for row in stops[1:]],
    )


class Infeasible(Exception):
    pass


def check(instance, routes):
    """Total distance in tenths of routes given as lists of customer numbers; raises Infeasible naming the fault."""
    if len(routes) > instance.vehicles:
        raise Infeasible(f"{len(routes)} routes, {instance.vehicles} vehicles")
    visited = sorted(stop for route in routes for stop in route)
    if visited != list(range(1, instance.size + 1)):
        raise Infeasible("not every customer is visited exactly once")
    total = 0
    for number, route in enumerate(routes):
        if sum(instance.demand[stop] for stop in route) > instance.capacity:
            raise Infeasible(f"route {number} carries too much")
        at, time = 0, instance.open[0]
        for stop in route:
            leg = instance.distance(at, stop)
            total += leg
            time = max(time + leg, instance.open[stop])
            if time > instance.close[stop]:
                raise Infeasible(f"route {number} is late at customer {stop}")
            time += instance.service[stop]
            at = stop
        leg = instance.distance(at, 0)
        total += leg
        if time + leg > instance.close[0]:
            raise Infeasible(f"route {number} is back too late")
    return total
