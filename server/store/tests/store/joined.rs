//! Reads of single rows that are asked for while one is under way.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use forenoon_store::{Joined, Rows, StoreError};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep};

/// Rows that are numbers, and a database that answers when it is let.
#[derive(Clone, Debug)]
struct Numbers {
    rows: Arc<Mutex<HashMap<u32, u64>>>,
    /// The keys of each read.
    reads: Arc<Mutex<Vec<Vec<u32>>>>,
    /// Each read needs one to get through.
    passes: Arc<Semaphore>,
    /// Reads of several fail.
    several_fail: bool,
}

impl Numbers {
    fn new(rows: impl IntoIterator<Item = (u32, u64)>) -> Self {
        Self {
            rows: Arc::new(Mutex::new(rows.into_iter().collect())),
            reads: Arc::default(),
            passes: Arc::new(Semaphore::new(0)),
            several_fail: false,
        }
    }

    fn open(self) -> Self {
        self.passes.add_permits(Semaphore::MAX_PERMITS / 2);
        self
    }

    fn reads(&self) -> Vec<Vec<u32>> {
        self.reads.lock().expect("sound").clone()
    }
}

impl Rows for Numbers {
    type Key = u32;
    type Row = u64;

    async fn fetch(&self, keys: &[u32]) -> Result<HashMap<u32, u64>, StoreError> {
        self.reads.lock().expect("sound").push(keys.to_vec());
        self.passes.acquire().await.expect("sound").forget();
        if self.several_fail && keys.len() > 1 {
            return Err(StoreError::Unavailable {
                detail: "several".to_owned(),
            });
        }
        let rows = self.rows.lock().expect("sound");
        Ok(keys
            .iter()
            .filter_map(|key| Some((*key, *rows.get(key)?)))
            .collect())
    }
}

/// Asks for all of them, one after the other, in tasks of their own.
async fn ask(joined: &Joined<Numbers>, keys: &[u32]) -> JoinSet<(u32, Option<u64>)> {
    let mut asked = JoinSet::new();
    for &key in keys {
        let joined = joined.clone();
        asked.spawn(async move { (key, joined.find(key).await.expect("sound")) });
        // Each is under way or in the queue before the next.
        tokio::task::yield_now().await;
    }
    asked
}

async fn sorted(asked: JoinSet<(u32, Option<u64>)>) -> Vec<(u32, Option<u64>)> {
    let mut answers = asked.join_all().await;
    answers.sort_unstable();
    answers
}

#[tokio::test]
async fn what_is_asked_for_while_a_read_is_under_way_goes_together() {
    let numbers = Numbers::new([(1, 10), (2, 20), (3, 30)]);
    let joined = Joined::new(numbers.clone());
    let asked = ask(&joined, &[1, 2, 3, 2, 4, 1]).await;
    assert_eq!(numbers.reads(), [vec![1]], "the first does not wait");
    numbers.passes.add_permits(2);
    let answers = sorted(asked).await;
    let expected = [
        (1, Some(10)),
        (1, Some(10)),
        (2, Some(20)),
        (2, Some(20)),
        (3, Some(30)),
        (4, None),
    ];
    assert_eq!(answers, expected);
    assert_eq!(
        numbers.reads(),
        [vec![1], vec![2, 3, 4, 1]],
        "each key once"
    );
}

#[tokio::test]
async fn more_than_go_together_go_one_load_after_the_other() {
    let rows = (0..200).map(|key| (key, u64::from(key) + 1_000));
    let numbers = Numbers::new(rows.clone());
    let joined = Joined::new(numbers.clone());
    let keys: Vec<u32> = (0..200).collect();
    let asked = ask(&joined, &keys).await;
    numbers.passes.add_permits(5);
    let expected: Vec<_> = rows.map(|(key, row)| (key, Some(row))).collect();
    assert_eq!(sorted(asked).await, expected);
    let lengths: Vec<usize> = numbers.reads().iter().map(Vec::len).collect();
    assert_eq!(lengths, [1, 64, 64, 64, 7]);
}

#[tokio::test]
async fn alone_each_read_goes_by_itself() {
    let numbers = Numbers::new([(1, 10)]).open();
    let joined = Joined::new(numbers.clone());
    for key in [1, 1, 2] {
        let expected = (key == 1).then_some(10);
        assert_eq!(joined.find(key).await.expect("sound"), expected);
    }
    assert_eq!(numbers.reads(), [vec![1], vec![1], vec![2]]);
}

#[tokio::test]
async fn where_reading_for_all_fails_each_goes_alone() {
    let mut numbers = Numbers::new([(1, 10), (2, 20), (3, 30)]);
    numbers.several_fail = true;
    let joined = Joined::new(numbers.clone());
    let asked = ask(&joined, &[1, 2, 3]).await;
    numbers.passes.add_permits(4);
    let expected = [(1, Some(10)), (2, Some(20)), (3, Some(30))];
    assert_eq!(sorted(asked).await, expected);
    let mut reads = numbers.reads();
    reads[2..].sort();
    assert_eq!(reads, [vec![1], vec![2, 3], vec![2], vec![3]]);
}

#[tokio::test]
async fn who_breaks_off_keeps_nobody_waiting() {
    let numbers = Numbers::new([(1, 10), (2, 20), (3, 30)]);
    let joined = Joined::new(numbers.clone());
    let mut first = ask(&joined, &[1]).await;
    let mut second = ask(&joined, &[2]).await;
    let third = ask(&joined, &[3]).await;
    second.shutdown().await;
    first.shutdown().await;
    numbers.passes.add_permits(1);
    assert_eq!(sorted(third).await, [(3, Some(30))]);
    assert_eq!(numbers.reads(), [vec![1], vec![3]]);
}

#[tokio::test(start_paused = true)]
async fn a_read_that_goes_silent_is_waited_for_a_tenth_of_a_second_once() {
    let numbers = Numbers::new([(1, 10), (2, 20), (3, 30), (4, 40)]);
    let joined = Joined::new(numbers.clone());
    let silent = ask(&joined, &[1]).await;
    let begun = Instant::now();
    let others = ask(&joined, &[2, 3]).await;
    sleep(Duration::from_millis(200)).await;
    // The silent one came first and gets the first pass, which it must not have.
    assert_eq!(numbers.reads(), [vec![1], vec![2], vec![3]]);
    drop(silent);
    tokio::task::yield_now().await;
    numbers.passes.add_permits(2);
    assert_eq!(sorted(others).await, [(2, Some(20)), (3, Some(30))]);
    assert_eq!(begun.elapsed(), Duration::from_millis(200));
    numbers.passes.add_permits(1);
    assert_eq!(joined.find(4).await.expect("sound"), Some(40));
    assert_eq!(
        begun.elapsed(),
        Duration::from_millis(200),
        "nothing is waited for"
    );
}

/// Rows only grow. A read may answer with what a row was when it was asked for, or later; never with less.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_read_sees_what_was_written_before_it_was_asked_for() {
    let numbers = Numbers::new((0..8).map(|key| (key, 0))).open();
    let joined = Joined::new(numbers.clone());
    let written: Arc<[AtomicU64]> = (0..8).map(|_| AtomicU64::new(0)).collect();
    let mut tasks = JoinSet::new();
    for seed in 0..16 {
        let (joined, numbers, written) = (joined.clone(), numbers.clone(), Arc::clone(&written));
        tasks.spawn(async move {
            let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
            for _ in 0..2_000 {
                let key = rng.random_range(0..8);
                let at = &written[key as usize];
                match rng.random_range(0..4) {
                    0 => {
                        let row = {
                            let mut rows = numbers.rows.lock().expect("sound");
                            let row = rows.entry(key).or_default();
                            *row += 1;
                            *row
                        };
                        at.fetch_max(row, Ordering::SeqCst);
                    }
                    1 => {
                        // Broken off at any point.
                        let find = joined.find(key);
                        let _ = tokio::time::timeout(Duration::ZERO, find).await;
                    }
                    _ => {
                        let least = at.load(Ordering::SeqCst);
                        let found = joined.find(key).await.expect("sound").expect("sound");
                        assert!(found >= least, "{found} after {least} was written");
                    }
                }
            }
        });
    }
    tasks.join_all().await;
    let reads = numbers.reads();
    assert!(
        reads.iter().any(|keys| keys.len() > 2),
        "none went together"
    );
}
