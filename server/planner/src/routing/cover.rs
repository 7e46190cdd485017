//! Cheapest choice of routes that serves each of a few stops exactly once.
//!
//! A small set partitioning problem: prices of stops come from a subgradient search (M. Held and R. Karp, The
//! traveling-salesman problem and minimum spanning trees: part II, Mathematical Programming 1, 1971), routes that cannot
//! be in a better choice are dropped by their reduced cost, and a depth-first search bounded by the prices tries the
//! rest.

/// Most stops in one problem.
pub(super) const ROWS: usize = 256;
/// Rounds of the search for prices.
const ROUNDS: usize = 40;
/// Most choices tried.
const TRIES: usize = 20_000;

/// A set of stops, by position.
pub(super) type Bits = [u64; ROWS / 64];

/// A route that may be chosen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    pub(super) cost: i32,
    pub(super) bits: Bits,
}

fn disjoint(a: &Bits, b: &Bits) -> bool {
    a.iter().zip(b).all(|(a, b)| a & b == 0)
}

fn members(bits: &Bits) -> impl Iterator<Item = usize> + '_ {
    bits.iter().enumerate().flat_map(|(word, &bits)| {
        std::iter::successors(Some(bits), |&rest| Some(rest & rest.wrapping_sub(1)))
            .take_while(|&rest| rest != 0)
            .map(move |rest| word * 64 + rest.trailing_zeros() as usize)
    })
}

/// Chooses at most `most` columns that hold each of `rows` stops once, for less than `upper` in all. `None` when there
/// is no such choice, or none was found within the bound on tries. `shares` are first prices of the stops.
pub(super) fn choose(
    columns: &[Column],
    rows: usize,
    upper: i64,
    most: usize,
    shares: Vec<f64>,
) -> Option<Vec<usize>> {
    debug_assert!(rows <= ROWS && shares.len() == rows);
    let members = Members::of(columns);
    let (prices, lower) = price(columns, &members, rows, upper as f64, shares);
    // All costs are whole numbers: better means better by one at least.
    let goal = upper as f64 - 1.0 + 1e-6;
    if lower > goal {
        return None;
    }
    let mut live: Vec<(f64, usize)> = columns
        .iter()
        .enumerate()
        .map(|(at, column)| (members.reduced(at, column, &prices).max(0.0), at))
        .filter(|&(reduced, _)| lower + reduced <= goal)
        .collect();
    live.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut with: Vec<Vec<(f64, usize)>> = vec![Vec::new(); rows];
    for &(reduced, at) in &live {
        for &row in members.list(at) {
            with[usize::from(row)].push((reduced, at));
        }
    }
    let mut order: Vec<usize> = (0..rows).collect();
    order.sort_by_key(|&row| with[row].len());
    let mut dive = Dive {
        columns,
        with: &with,
        order: &order,
        upper,
        goal,
        most,
        tries: TRIES,
        chosen: Vec::new(),
    };
    dive.descend([0; ROWS / 64], lower, 0)
        .then_some(dive.chosen)
}

/// The rows of each column, listed.
struct Members {
    rows: Vec<u16>,
    ends: Vec<usize>,
}

impl Members {
    fn of(columns: &[Column]) -> Self {
        let mut lists = Self {
            rows: Vec::new(),
            ends: vec![0],
        };
        for column in columns {
            lists
                .rows
                .extend(members(&column.bits).map(|row| row as u16));
            lists.ends.push(lists.rows.len());
        }
        lists
    }

    fn list(&self, at: usize) -> &[u16] {
        &self.rows[self.ends[at]..self.ends[at + 1]]
    }

    fn reduced(&self, at: usize, column: &Column, prices: &[f64]) -> f64 {
        f64::from(column.cost)
            - self
                .list(at)
                .iter()
                .map(|&row| prices[usize::from(row)])
                .sum::<f64>()
    }
}

/// Prices and the lower bound they give: sum of prices + sum of negative reduced costs.
fn price(
    columns: &[Column],
    members: &Members,
    rows: usize,
    upper: f64,
    shares: Vec<f64>,
) -> (Vec<f64>, f64) {
    let mut prices = shares;
    let mut best = (prices.clone(), f64::NEG_INFINITY);
    let mut pace = 1.0;
    let mut idle = 0;
    let mut held = vec![0_i32; rows];
    for _ in 0..ROUNDS {
        held.fill(1);
        let mut bound: f64 = prices.iter().sum();
        for (at, column) in columns.iter().enumerate() {
            let reduced = members.reduced(at, column, &prices);
            if reduced < 0.0 {
                bound += reduced;
                members
                    .list(at)
                    .iter()
                    .for_each(|&row| held[usize::from(row)] -= 1);
            }
        }
        if bound > best.1 {
            best = (prices.clone(), bound);
            idle = 0;
        } else {
            idle += 1;
            if idle == 4 {
                pace /= 2.0;
                idle = 0;
            }
        }
        let norm: i32 = held.iter().map(|&miss| miss * miss).sum();
        if norm == 0 || bound >= upper - 1.0 {
            break;
        }
        let step = pace * (upper - bound) / f64::from(norm);
        for (price, &miss) in prices.iter_mut().zip(&held) {
            *price += step * f64::from(miss);
        }
    }
    best
}

/// The depth-first search.
struct Dive<'c> {
    columns: &'c [Column],
    /// Columns of each row, by reduced cost.
    with: &'c [Vec<(f64, usize)>],
    /// Rows, those with the fewest columns first.
    order: &'c [usize],
    upper: i64,
    goal: f64,
    most: usize,
    tries: usize,
    chosen: Vec<usize>,
}

impl Dive<'_> {
    /// Completes the choice whose columns hold `done` and whose bound is `bound`; rows before `from` in order are held.
    fn descend(&mut self, done: Bits, bound: f64, from: usize) -> bool {
        let open = (from..self.order.len())
            .find(|&at| done[self.order[at] / 64] >> (self.order[at] % 64) & 1 == 0);
        let Some(open) = open else {
            // Columns of negative reduced cost that were not chosen make the bound too low: the cost itself decides.
            return self
                .chosen
                .iter()
                .map(|&at| i64::from(self.columns[at].cost))
                .sum::<i64>()
                < self.upper;
        };
        if self.chosen.len() == self.most {
            return false;
        }
        let with = self.with;
        for &(reduced, at) in &with[self.order[open]] {
            if bound + reduced > self.goal {
                return false;
            }
            if self.tries == 0 {
                return false;
            }
            self.tries -= 1;
            if !disjoint(&self.columns[at].bits, &done) {
                continue;
            }
            let mut more = done;
            more.iter_mut()
                .zip(&self.columns[at].bits)
                .for_each(|(a, b)| *a |= b);
            self.chosen.push(at);
            if self.descend(more, bound + reduced, open + 1) {
                return true;
            }
            self.chosen.pop();
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(cost: i32, rows: &[usize]) -> Column {
        let mut bits = [0; ROWS / 64];
        for row in rows {
            bits[row / 64] |= 1 << (row % 64);
        }
        Column { cost, bits }
    }

    /// Cheapest partition by trying every subset of columns.
    fn brute(columns: &[Column], rows: usize, most: usize) -> Option<i64> {
        (0_u32..1 << columns.len())
            .filter(|set| set.count_ones() as usize <= most)
            .filter_map(|set| {
                let mut held = vec![0; rows];
                let mut cost = 0;
                for (_, column) in columns
                    .iter()
                    .enumerate()
                    .filter(|(at, _)| set >> at & 1 == 1)
                {
                    cost += i64::from(column.cost);
                    members(&column.bits).for_each(|row| held[row] += 1);
                }
                held.iter().all(|&count| count == 1).then_some(cost)
            })
            .min()
    }

    /// Guards the bounds: on small random problems, asking for less than the optimum + 1 must give the optimum, and
    /// asking for less than the optimum must give nothing.
    #[test]
    fn finds_the_cheapest_partition() {
        let mut rng = fastrand::Rng::with_seed(7);
        let mut solvable = 0;
        for _ in 0..300 {
            let rows = rng.usize(2..9);
            let columns: Vec<Column> = (0..rng.usize(3..13))
                .map(|_| {
                    let held: Vec<usize> = (0..rows).filter(|_| rng.u8(..3) == 0).collect();
                    column(rng.i32(1..40) + held.iter().map(|_| 10).sum::<i32>(), &held)
                })
                .filter(|column| column.bits[0] != 0)
                .collect();
            let most = rng.usize(1..6);
            let Some(optimum) = brute(&columns, rows, most) else {
                assert_eq!(choose(&columns, rows, 10_000, most, vec![10.0; rows]), None);
                continue;
            };
            solvable += 1;
            let found = choose(&columns, rows, optimum + 1, most, vec![10.0; rows]);
            let cost = found.map(|set| {
                set.iter()
                    .map(|&at| i64::from(columns[at].cost))
                    .sum::<i64>()
            });
            assert_eq!(cost, Some(optimum));
            assert_eq!(
                choose(&columns, rows, optimum, most, vec![10.0; rows]),
                None
            );
        }
        assert!(solvable > 50, "{solvable}");
    }
}
