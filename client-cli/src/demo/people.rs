//! Names of people who do not exist.

use super::dice::{Dice, Stream};

const GIVEN: [&str; 24] = [
    "Ada", "Bram", "Cleo", "Dario", "Edda", "Fenn", "Greta", "Hollis", "Ines", "Jory", "Kaya",
    "Linus", "Mabel", "Nils", "Odile", "Piet", "Quinn", "Rosa", "Silas", "Tilda", "Umar", "Vera",
    "Willem", "Yara",
];

const FAMILY: [&str; 48] = [
    "Aldercott",
    "Brannick",
    "Corvell",
    "Dunmarrow",
    "Esterby",
    "Fallowby",
    "Garrend",
    "Hestlow",
    "Inglethorn",
    "Jarvole",
    "Kestrin",
    "Lomarck",
    "Merrowby",
    "Nettlow",
    "Orvick",
    "Pellgrave",
    "Quillstone",
    "Rossmoor",
    "Standrow",
    "Tavenor",
    "Umberley",
    "Vantrell",
    "Wexcombe",
    "Yarrowby",
    "Zellick",
    "Ashgrave",
    "Bexmoor",
    "Caldrow",
    "Drennick",
    "Elmsward",
    "Farrowell",
    "Glasterby",
    "Hockmere",
    "Isward",
    "Jessamore",
    "Kinvale",
    "Larchmond",
    "Mossgrove",
    "Norbeth",
    "Oxenlow",
    "Pinderby",
    "Rushcott",
    "Saltmere",
    "Thornmere",
    "Ulverton",
    "Windrow",
    "Yestrel",
    "Zimmerlow",
];

/// Draws full names, none twice.
pub(super) struct Names {
    left: std::vec::IntoIter<String>,
}

impl Names {
    pub(super) fn new(seed: u64) -> Self {
        let mut dice = Dice::new(seed, Stream::People);
        let family = dice.shuffled(&FAMILY);
        let given = dice.shuffled(&GIVEN);
        // Each round of families takes the given names from another place, so that no pair comes twice.
        let mut names = Vec::with_capacity(GIVEN.len() * FAMILY.len());
        for round in 0..GIVEN.len() {
            let given = given.iter().cycle().skip(round);
            names.extend(
                family
                    .iter()
                    .zip(given)
                    .map(|(last, first)| format!("{first} {last}")),
            );
        }
        Self {
            left: names.into_iter(),
        }
    }

    /// The next name. There are over a thousand of them; the demo needs less than two hundred.
    pub(super) fn next(&mut self) -> String {
        self.left.next().unwrap_or_default()
    }
}
