"""The solvers compared. Each gives routes as lists of customer numbers, or None when it found no plan."""

import subprocess
import tempfile
import time
from pathlib import Path

# The clocks a budget can be counted on, by the names the engine's program gives them.
CLOCKS = {"wall": time.monotonic, "cpu": time.process_time}


def engine(binary):
    def solve(instance, path, seconds, seed, clock):
        with tempfile.TemporaryDirectory() as folder:
            command = [binary, "--seconds", str(seconds), "--seed", str(seed), "--clock", clock]
            command += ["--routes", folder, str(path)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            if done.returncode != 0:
                print(done.stderr.strip())
                return None
            lines = (Path(folder) / f"{instance.name}.routes").read_text().splitlines()
            return [[int(word) for word in line.split()] for line in lines]

    return solve


def matrix(instance):
    count = instance.size + 1
    return [[instance.distance(a, b) for b in range(count)] for a in range(count)]


def pyvrp(instance, _path, seconds, seed, clock):
    """PyVRP with its defaults; building its data is not counted in its budget."""
    import numpy
    from pyvrp import Client, Depot, Location, ProblemData, VehicleType, solve

    legs = numpy.array(matrix(instance))
    data = ProblemData(
        locations=[Location(x, y) for x, y in instance.points],
        clients=[
            Client(
                location=stop,
                delivery=[instance.demand[stop]],
                service_duration=instance.service[stop],
                tw_early=instance.open[stop],
                tw_late=instance.close[stop],
            )
            for stop in range(1, instance.size + 1)
        ],
        depots=[Depot(0, tw_early=instance.open[0], tw_late=instance.close[0])],
        vehicle_types=[
            VehicleType(
                num_available=instance.vehicles,
                capacity=[instance.capacity],
                tw_early=instance.open[0],
                tw_late=instance.close[0],
            )
        ],
        distance_matrices=[legs],
        duration_matrices=[legs],
    )
    now = CLOCKS[clock]
    end = now() + seconds
    result = solve(data, lambda _cost: now() >= end, seed=seed, collect_stats=False, display=False)
    if not result.is_feasible():
        return None
    # An activity's number counts clients from 0.
    return [
        [activity.idx + 1 for activity in route.schedule() if activity.is_client()]
        for route in result.best.routes()
    ]


def ortools(instance, _path, seconds, _seed, clock):
    """OR-Tools' routing library with guided local search, which takes no seed; building its model is not counted."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2

    legs = matrix(instance)
    manager = pywrapcp.RoutingIndexManager(instance.size + 1, instance.vehicles, 0)
    model = pywrapcp.RoutingModel(manager)
    # Matrices held by the library: no call back into Python while it searches.
    leg = model.RegisterTransitMatrix(legs)
    after = [[instance.service[a] + cost for cost in row] for a, row in enumerate(legs)]
    time_on = model.RegisterTransitMatrix(after)
    load = model.RegisterUnaryTransitVector(instance.demand)
    model.SetArcCostEvaluatorOfAllVehicles(leg)
    model.AddDimension(load, 0, instance.capacity, True, "load")
    horizon = instance.close[0]
    model.AddDimension(time_on, horizon, horizon, False, "time")
    arrival = model.GetDimensionOrDie("time")
    for stop in range(1, instance.size + 1):
        arrival.CumulVar(manager.NodeToIndex(stop)).SetRange(instance.open[stop], instance.close[stop])
    parameters = pywrapcp.DefaultRoutingSearchParameters()
    parameters.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.SAVINGS
    parameters.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    # The library's own limit is on the wall's clock; on the processor's it only guards against a hang.
    limit = seconds if clock == "wall" else 100 * seconds
    parameters.time_limit.FromMilliseconds(int(limit * 1000))
    model.CloseModelWithParameters(parameters)
    if clock == "cpu":
        end = time.process_time() + seconds
        model.AddSearchMonitor(model.solver().CustomLimit(lambda: time.process_time() >= end))
    found = model.SolveWithParameters(parameters)
    if found is None:
        return None
    routes = []
    for vehicle in range(instance.vehicles):
        index, route = found.Value(model.NextVar(model.Start(vehicle))), []
        while not model.IsEnd(index):
            route.append(manager.IndexToNode(index))
            index = found.Value(model.NextVar(index))
        if route:
            routes.append(route)
    return routes
