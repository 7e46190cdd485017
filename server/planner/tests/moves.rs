//! What a search reckons of a move equals what the whole day amounts to, after every single move.

mod support;

use forenoon_planner::check;
use support::compared::each_move;

/// The search's debug build compares each insertion and each removal with a full evaluation of the day right after it, and
/// stops at the first difference. More of them: `cargo run -p forenoon-planner --example moves -- --moves 20000000`.
#[test]
#[cfg(debug_assertions)]
fn every_move_equals_a_full_evaluation() {
    const MOVES: u64 = 1_000_000;
    let (problems, found) = each_move(MOVES, |seed, problem, plan| {
        let checked = check(problem, plan);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}");
    });
    assert!(found.insertions + found.removals >= MOVES, "{found:?}");
    // Moves of both kinds, and such as were kept and such as were taken back.
    assert!(
        found.insertions > MOVES / 4 && found.removals > MOVES / 8,
        "{problems}: {found:?}"
    );
    assert!(
        found.kept > MOVES / 20 && found.kept < MOVES,
        "{problems}: {found:?}"
    );
}
