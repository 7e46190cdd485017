//! Use cases played by chance against a model, by two who do not see what the other does meanwhile, with faults put in:
//! transactions that meet others, commands that break off at each of their points, answers that are lost, and clocks that
//! jump. Each play has a branch of its own, and begins by its seed alone: the same seed plays the same play, whatever was
//! played before.
//!
//! `FORENOON_SIMULATION_RUNS` sets how many plays, `FORENOON_SIMULATION_SEED` the first seed; a play that fails tells its
//! seed.

mod faults;
mod model;
mod play;
mod stage;

use std::collections::BTreeMap;
use std::env;

use play::Line;
use stage::Stage;

const RUNS_DEFAULT: u64 = 2_000;
/// Plays of which one may demand that everything happened in them.
const MANY_RUNS: u64 = 1_000;

#[tokio::test]
async fn thousands_of_plays_go_as_the_model_says() {
    let first = number("FORENOON_SIMULATION_SEED", 1);
    let runs = number("FORENOON_SIMULATION_RUNS", RUNS_DEFAULT);
    let stage = Stage::open().await;
    let mut tally = BTreeMap::new();
    for seed in first..first + runs {
        for line in stage.play(seed).await {
            for word in line.tallied() {
                *tally.entry(word).or_insert(0) += 1;
            }
        }
    }
    if runs >= MANY_RUNS {
        // Plays in which something never happens would tell nothing of it.
        let expected = [
            "tag done",
            "tag refused AlreadyTaggedOut",
            "step done",
            "step refused TagOutState",
            "step refused StaleEtag",
            "draft done",
            "draft refused UnitTaggedOut",
            "publish done",
            "publish refused NotADraft",
            "publish refused UnitTaggedOut",
            "publish refused StaleEtag",
            "discard done",
            "discard refused NotADraft",
            "discard refused StaleEtag",
        ];
        let expected = expected.map(str::to_owned).into_iter();
        for word in expected.chain(faults::kinds()) {
            assert!(
                tally.get(&word).is_some_and(|count| *count > 20),
                "{word}: {tally:?}"
            );
        }
    }
}

#[tokio::test]
async fn a_seed_alone_plays_what_it_plays_within_a_run() {
    let stage = Stage::open().await;
    let mut within = BTreeMap::new();
    for seed in 7..27 {
        within.insert(seed, stage.play(seed).await);
    }
    let lines: usize = within.values().map(Vec::len).sum();
    assert!(lines > 200, "{lines} lines");
    for seed in [7, 16, 26] {
        let alone: Vec<Line> = Stage::open().await.play(seed).await;
        assert_eq!(alone, within[&seed], "seed {seed}");
    }
}

fn number(variable: &str, default: u64) -> u64 {
    env::var(variable).map_or(default, |text| text.parse().expect("a whole number"))
}
