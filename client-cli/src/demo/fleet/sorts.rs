//! The sorts of units in the yard, each with how many there are.

use forenoon_proto::v1::{Capability, UnitKind};

/// Couplings of the two makes of powerhead in the yard.
pub(super) const SQUARE: &str = "square-26";
pub(super) const SPLINE: &str = "spline-24";

/// One sort of unit, of which the yard has several.
pub(super) struct Sort {
    /// The ids are this and a number.
    pub(super) id: &'static str,
    pub(super) name: &'static str,
    pub(super) model: &'static str,
    pub(super) serial: &'static str,
    pub(super) count: u32,
    pub(super) kind: UnitKind,
    pub(super) capability: Option<Capability>,
    pub(super) coupling: &'static str,
    /// Inches; 0 where it has none.
    pub(super) cut: f64,
    /// Inches; 0 where it passes as wide as it cuts.
    pub(super) wide: f64,
    pub(super) slope_percent: f64,
    /// Cubic feet taken aboard, offered to others, and of the bag.
    pub(super) takes: f64,
    pub(super) carries: f64,
    pub(super) bag: f64,
    pub(super) dollars: i64,
    /// Most hours it has run.
    pub(super) most_hours: u32,
    pub(super) service_hours: f64,
    /// Declared noise at the ear, dBA, and vibration at the hand, m/s2; 0 where its papers say none.
    pub(super) noise_dba: f64,
    pub(super) vibration: f64,
}

const PLAIN: Sort = Sort {
    id: "",
    name: "",
    model: "",
    serial: "",
    count: 1,
    kind: UnitKind::HandTool,
    capability: None,
    coupling: "",
    cut: 0.0,
    wide: 0.0,
    slope_percent: 0.0,
    takes: 0.0,
    carries: 0.0,
    bag: 0.0,
    dollars: 0,
    most_hours: 0,
    service_hours: 0.0,
    noise_dba: 0.0,
    vibration: 0.0,
};

const fn powerhead(
    id: &'static str,
    serial: &'static str,
    count: u32,
    coupling: &'static str,
    price: i64,
) -> Sort {
    Sort {
        id,
        name: "Powerhead",
        model: "two-piece shaft, gasoline",
        serial,
        count,
        kind: UnitKind::Powerhead,
        coupling,
        takes: 3.0,
        dollars: price,
        most_hours: 480,
        service_hours: 50.0,
        noise_dba: 96.0,
        vibration: 4.6,
        ..PLAIN
    }
}

const fn attachment(
    id: &'static str,
    name: &'static str,
    serial: &'static str,
    count: u32,
    capability: Capability,
    coupling: &'static str,
) -> Sort {
    Sort {
        id,
        name,
        model: "for a two-piece shaft",
        serial,
        count,
        kind: UnitKind::Attachment,
        capability: Some(capability),
        coupling,
        takes: 1.5,
        dollars: 160,
        most_hours: 260,
        service_hours: 25.0,
        ..PLAIN
    }
}

const fn mower(id: &'static str, name: &'static str, serial: &'static str, count: u32) -> Sort {
    Sort {
        id,
        name,
        serial,
        count,
        ..PLAIN
    }
}

impl Sort {
    const fn a(mut self, kind: UnitKind, model: &'static str, capability: Capability) -> Self {
        self.kind = kind;
        self.model = model;
        self.capability = Some(capability);
        self
    }

    /// Widths in inches of the cut and of the machine, and the steepest slope in percent.
    const fn cuts(mut self, cut: f64, wide: f64, slope_percent: f64) -> Self {
        self.cut = cut;
        self.wide = wide;
        self.slope_percent = slope_percent;
        self
    }

    /// Cubic feet taken aboard, and of the bag.
    const fn room(mut self, takes: f64, bag: f64) -> Self {
        self.takes = takes;
        self.bag = bag;
        self
    }

    /// Declared noise at the ear, dBA, and vibration at the hand, m/s2.
    const fn declared(mut self, noise_dba: f64, vibration: f64) -> Self {
        self.noise_dba = noise_dba;
        self.vibration = vibration;
        self
    }

    /// Price in dollars, most hours it has run, and hours between services.
    const fn worth(mut self, dollars: i64, most_hours: u32, service_hours: f64) -> Self {
        self.dollars = dollars;
        self.most_hours = most_hours;
        self.service_hours = service_hours;
        self
    }
}

/// The whole yard.
pub(super) const SORTS: [Sort; 27] = [
    powerhead("head-sq", "LG-PH26", 7, SQUARE, 420),
    powerhead("head-sp", "LG-PH24", 4, SPLINE, 390),
    attachment("edger-sq", "Edger", "LG-ED26", 5, Capability::Edger, SQUARE),
    attachment("edger-sp", "Edger", "LG-ED24", 4, Capability::Edger, SPLINE),
    attachment(
        "line-sq",
        "Line head",
        "LG-LH26",
        6,
        Capability::LineHead,
        SQUARE,
    ),
    attachment(
        "line-sp",
        "Line head",
        "LG-LH24",
        4,
        Capability::LineHead,
        SPLINE,
    ),
    attachment(
        "blade-sq",
        "Brush blade head",
        "LG-BH26",
        2,
        Capability::BladeHead,
        SQUARE,
    ),
    attachment(
        "blade-sp",
        "Brush blade head",
        "LG-BH24",
        1,
        Capability::BladeHead,
        SPLINE,
    ),
    mower("walk-18", "Mower 18 in", "LG-W18", 1)
        .a(
            UnitKind::WalkMower,
            "walk-behind, battery",
            Capability::Mower,
        )
        .cuts(18.0, 20.0, 35.0)
        .room(11.0, 0.0)
        .worth(520, 210, 100.0)
        .declared(82.0, 2.4),
    mower("walk-21", "Mower 21 in", "LG-W21", 2)
        .a(UnitKind::WalkMower, "walk-behind", Capability::Mower)
        .cuts(21.0, 22.5, 35.0)
        .room(14.0, 0.0)
        .worth(1_450, 640, 50.0)
        .declared(87.0, 3.8),
    mower("bag-21", "Collecting mower 21 in", "LG-C21", 2)
        .a(
            UnitKind::WalkMower,
            "walk-behind with bag",
            Capability::CollectingMower,
        )
        .cuts(21.0, 22.5, 30.0)
        .room(16.0, 2.6)
        .worth(1_650, 520, 50.0)
        .declared(87.0, 3.9),
    mower("walk-30", "Mower 30 in", "LG-W30", 3)
        .a(
            UnitKind::WalkMower,
            "walk-behind, driven",
            Capability::Mower,
        )
        .cuts(30.0, 31.0, 30.0)
        .room(26.0, 0.0)
        .worth(2_900, 720, 50.0)
        .declared(88.0, 3.4),
    mower("bag-30", "Collecting mower 30 in", "LG-C30", 2)
        .a(
            UnitKind::WalkMower,
            "walk-behind, driven, with bag",
            Capability::CollectingMower,
        )
        .cuts(30.0, 31.0, 25.0)
        .room(30.0, 3.8)
        .worth(3_300, 560, 50.0)
        .declared(88.0, 3.6),
    mower("walk-36", "Mower 36 in", "LG-W36", 5)
        .a(
            UnitKind::WalkMower,
            "walk-behind, driven",
            Capability::Mower,
        )
        .cuts(36.0, 38.0, 27.0)
        .room(45.0, 0.0)
        .worth(5_400, 1_150, 50.0)
        .declared(89.0, 3.2),
    mower("stand-48", "Stand-on mower 48 in", "LG-S48", 3)
        .a(UnitKind::RideOnMower, "stand-on", Capability::Mower)
        .cuts(48.0, 50.0, 27.0)
        .room(70.0, 0.0)
        .worth(9_800, 1_300, 100.0)
        .declared(90.0, 2.6),
    mower("hopper-48", "Collecting mower 48 in", "LG-H48", 1)
        .a(
            UnitKind::RideOnMower,
            "stand-on with hopper",
            Capability::CollectingMower,
        )
        .cuts(48.0, 54.0, 20.0)
        .room(85.0, 9.0)
        .worth(12_600, 900, 100.0)
        .declared(91.0, 2.6),
    mower("ride-60", "Ride-on mower 60 in", "LG-R60", 3)
        .a(UnitKind::RideOnMower, "ride-on", Capability::Mower)
        .cuts(60.0, 62.0, 20.0)
        .room(105.0, 0.0)
        .worth(12_900, 1_700, 100.0)
        .declared(91.0, 1.9),
    mower("ride-72", "Ride-on mower 72 in", "LG-R72", 1)
        .a(UnitKind::RideOnMower, "ride-on", Capability::Mower)
        .cuts(72.0, 74.0, 20.0)
        .room(140.0, 0.0)
        .worth(16_800, 1_400, 100.0)
        .declared(92.0, 1.9),
    Sort {
        id: "blower",
        name: "Backpack blower",
        model: "backpack, gasoline",
        serial: "LG-BL",
        count: 9,
        kind: UnitKind::Blower,
        capability: Some(Capability::Blower),
        takes: 4.0,
        dollars: 560,
        most_hours: 620,
        service_hours: 50.0,
        noise_dba: 95.0,
        vibration: 1.8,
        ..PLAIN
    },
    hand_tool("rake", "Rake and bags", "LG-RK", 5, Capability::Rake, 2.0),
    hand_tool(
        "shovel",
        "Flat shovel",
        "LG-FS",
        3,
        Capability::FlatShovel,
        1.0,
    ),
    carrier("truck", "Crew truck", "LG-TR", 7, UnitKind::Vehicle, 60.0),
    carrier(
        "tipper",
        "Tipper truck",
        "LG-TP",
        1,
        UnitKind::Vehicle,
        120.0,
    ),
    carrier("van", "Van", "LG-VN", 1, UnitKind::Vehicle, 130.0),
    carrier(
        "trailer-10",
        "Trailer 10 ft",
        "LG-T10",
        3,
        UnitKind::Trailer,
        150.0,
    ),
    carrier(
        "trailer-12",
        "Trailer 12 ft",
        "LG-T12",
        3,
        UnitKind::Trailer,
        190.0,
    ),
    carrier(
        "trailer-16",
        "Trailer 16 ft",
        "LG-T16",
        2,
        UnitKind::Trailer,
        340.0,
    ),
];

const fn hand_tool(
    id: &'static str,
    name: &'static str,
    serial: &'static str,
    count: u32,
    capability: Capability,
    takes: f64,
) -> Sort {
    Sort {
        id,
        name,
        model: "hand tool",
        serial,
        count,
        kind: UnitKind::HandTool,
        capability: Some(capability),
        takes,
        dollars: 45,
        ..PLAIN
    }
}

const fn carrier(
    id: &'static str,
    name: &'static str,
    serial: &'static str,
    count: u32,
    kind: UnitKind,
    carries: f64,
) -> Sort {
    Sort {
        id,
        name,
        model: "road vehicle",
        serial,
        count,
        kind,
        capability: Some(Capability::Carrier),
        carries,
        dollars: 9_500,
        ..PLAIN
    }
}
