"""A branch for one morning: one crew, a school, a lawn, two mowers of which one will fail."""

BRANCH = "branches/tamsin"
DAY = {"year": 2035, "month": 4, "day": 17}
ADA = f"{BRANCH}/workers/ada"
GUS = f"{BRANCH}/workers/gus"
CREW = f"{BRANCH}/crews/elm"
BIG_MOWER = f"{BRANCH}/units/ride-60"


def clock(hours: int, minutes: int = 0) -> dict:
    return {"hours": hours, "minutes": minutes}


def branch(v1) -> dict:
    return {
        "display_name": "Larkmoor Grounds",
        "time_zone": "America/Chicago",
        "currency_code": "USD",
        "unit_system": v1.UNIT_SYSTEM_US_CUSTOMARY,
        "yard": {"latitude": 41.2, "longitude": -92.8},
        "travel": {"road_factor": 1.3, "kilometres_per_hour": 40.0, "seconds_per_stop": 120},
    }


def units(v1) -> dict[str, dict]:
    def unit(id: str, kind: int, capabilities: list[int], **more: object) -> dict:
        return {
            "display_name": f"Unit {id}",
            "serial_number": f"LG-{id}",
            "kind": kind,
            "capabilities": capabilities,
            **more,
        }

    return {
        "truck-1": unit("truck-1", v1.UNIT_KIND_VEHICLE, [v1.CAPABILITY_CARRIER], carries={"cubic_feet": 200.0}),
        "ride-60": unit(
            "ride-60",
            v1.UNIT_KIND_RIDE_ON_MOWER,
            [v1.CAPABILITY_MOWER],
            cutting_width={"inches": 60.0},
            load_space={"cubic_feet": 90.0},
        ),
        "walk-30": unit(
            "walk-30",
            v1.UNIT_KIND_WALK_MOWER,
            [v1.CAPABILITY_MOWER],
            cutting_width={"inches": 30.0},
            load_space={"cubic_feet": 25.0},
        ),
        "blower-1": unit("blower-1", v1.UNIT_KIND_BLOWER, [v1.CAPABILITY_BLOWER], load_space={"cubic_feet": 2.0}),
    }


def crew(v1) -> dict:
    return {
        "display_name": "Elm",
        "shifts": [{"day": day, "start_time": clock(7), "end_time": clock(15, 30)} for day in range(1, 6)],
        "vehicle": f"{BRANCH}/units/truck-1",
    }


def workers(v1) -> dict[str, dict]:
    return {
        "ada": {
            "display_name": "Ada of Elm",
            "crew": CREW,
            "roles": [v1.ROLE_CREW, v1.ROLE_CREW_LEAD],
            "phone": "555-0100",
        },
        "gus": {"display_name": "Gus of the bench", "roles": [v1.ROLE_MECHANIC]},
    }


def sites(v1) -> dict[str, dict]:
    return {
        "school": {
            "display_name": "Larkmoor School",
            "address": "1 School Way, Larkmoor",
            "location": {"latitude": 41.221, "longitude": -92.812},
            "areas": [
                {
                    "area_id": "field",
                    "display_name": "field",
                    "kind": v1.AREA_KIND_TURF,
                    "surface": {"acres": 1.0},
                },
            ],
            "hazards": [
                {"hazard_id": "pipe", "description": "Standing pipe behind the goal", "area_id": "field"},
            ],
            "quiet_until": clock(9, 30),
            "clippings": v1.CLIPPINGS_CUSTOMER_HEAP,
            "clippings_note": "heap behind the gym",
        },
        "corner": {
            "display_name": "Corner house",
            "address": "2 Corner Way, Larkmoor",
            "location": {"latitude": 41.21, "longitude": -92.775},
            "areas": [
                {
                    "area_id": "front",
                    "display_name": "front lawn",
                    "kind": v1.AREA_KIND_TURF,
                    "surface": {"square_feet": 6000.0},
                    "narrowest_gate": {"inches": 36.0},
                },
            ],
        },
    }


def jobs(v1) -> dict[str, dict]:
    day = [{"first_day": DAY, "last_day": DAY}]

    def mow(area: str, minutes: float) -> dict:
        return {
            "task_id": "mow",
            "kind": v1.TASK_KIND_MOW,
            "area_id": area,
            "capabilities": [v1.CAPABILITY_MOWER],
            "agreed_minutes": minutes,
        }

    return {
        "school-mow": {
            "display_name": "School, weekly cut",
            "site": f"{BRANCH}/sites/school",
            "windows": day,
            "tasks": [mow("field", 60.0)],
        },
        # Through a gate of 36 inches: only the small mower.
        "corner-mow": {
            "display_name": "Corner house, weekly cut",
            "site": f"{BRANCH}/sites/corner",
            "windows": day,
            "tasks": [mow("front", 40.0)],
        },
        # No tasks: the server composes them.
        "corner-composed": {
            "display_name": "Corner house, as the server sees it",
            "site": f"{BRANCH}/sites/corner",
            "windows": [{"first_day": {**DAY, "day": 18}, "last_day": {**DAY, "day": 18}}],
        },
    }
