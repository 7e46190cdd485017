//! Benchmark: solves public instances of vehicle routing with time windows and prints one CSV line for each.
//!
//! `cargo run --release -p forenoon-planner --example vrptw -- --seconds 5 --seed 1 FILE...`

mod text;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use clap::{Parser, ValueEnum};
use cpu_time::ProcessTime;
use forenoon_planner::routing::{Budget, Cancel, Options, RoutePlan, Settings, SolveError, solve};

/// Which clock the seconds are counted on.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Clock {
    /// Time that passes.
    Wall,
    /// Processor time of this process: comparable on a busy machine. Use with one thread.
    Cpu,
}

/// Solves instances in the classic text layout and prints CSV.
#[derive(Debug, Parser)]
struct Args {
    /// Seconds for each file, reading and set-up included.
    #[arg(long, required_unless_present = "iterations")]
    seconds: Option<f64>,
    /// Seed of all chance.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Threads.
    #[arg(long, default_value_t = 1)]
    threads: usize,
    /// Iterations on each thread; the same seed and number give the same plan.
    #[arg(long)]
    iterations: Option<u64>,
    /// Folder for the routes: one file INSTANCE.routes for each instance, one line a route.
    #[arg(long, value_name = "DIR")]
    routes: Option<PathBuf>,
    /// Clock that the seconds are counted on.
    #[arg(long, value_enum, default_value = "wall")]
    clock: Clock,
    /// Instance files.
    #[arg(required = true)]
    files: Vec<PathBuf>,
}

/// Time since a start, on either clock.
enum Watch {
    Wall(Instant),
    Cpu(ProcessTime),
}

impl Watch {
    fn start(clock: Clock) -> Self {
        match clock {
            Clock::Wall => Self::Wall(Instant::now()),
            Clock::Cpu => Self::Cpu(ProcessTime::now()),
        }
    }

    fn seconds(&self) -> f64 {
        match self {
            Self::Wall(start) => start.elapsed().as_secs_f64(),
            Self::Cpu(start) => start.elapsed().as_secs_f64(),
        }
    }
}

/// Stops at whichever of the limits comes first.
struct Limits {
    watch: Watch,
    seconds: Option<f64>,
    iterations: Option<u64>,
}

impl Budget for Limits {
    fn spent(&self, iterations: u64) -> f64 {
        let by_time = self
            .seconds
            .map_or(0.0, |seconds| self.watch.seconds() / seconds);
        let by_count = self
            .iterations
            .map_or(0.0, |most| iterations as f64 / most.max(1) as f64);
        by_time.max(by_count)
    }
}

/// Why an instance has no line of output.
#[derive(Debug, thiserror::Error)]
enum RunError {
    #[error("cannot read: {0}")]
    Read(std::io::Error),
    #[error("{0}")]
    Text(#[from] text::TextError),
    #[error("{0}")]
    Solve(#[from] SolveError),
    #[error("cannot write routes: {0}")]
    Write(std::io::Error),
    #[error("no plan serves every customer within the vehicles given ({0} left out)")]
    Incomplete(usize),
}

#[expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a command-line program"
)]
fn main() -> ExitCode {
    let args = Args::parse();
    let mut code = ExitCode::SUCCESS;
    println!("instance,n,seconds,seed,distance,vehicles,iterations");
    for file in &args.files {
        match run(&args, file) {
            Ok(line) => println!("{line}"),
            Err(error) => {
                eprintln!("{}: {error}", file.display());
                code = ExitCode::FAILURE;
            }
        }
    }
    code
}

fn run(args: &Args, file: &Path) -> Result<String, RunError> {
    let limits = Limits {
        watch: Watch::start(args.clock),
        seconds: args.seconds,
        iterations: args.iterations,
    };
    let name = file
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .replace(',', "_");
    let text = std::fs::read_to_string(file).map_err(RunError::Read)?;
    let instance = text::read(&text)?;
    let options = Options {
        settings: Settings::default(),
        seed: args.seed,
        threads: args.threads,
        start: None,
    };
    let outcome = solve(&instance.problem, &options, &limits, &Cancel::new())?;
    let seconds = args.seconds.unwrap_or_else(|| limits.watch.seconds());
    let plan = outcome.plan;
    if !plan.skipped.is_empty() {
        return Err(RunError::Incomplete(plan.skipped.len()));
    }
    if let Some(folder) = &args.routes {
        std::fs::create_dir_all(folder).map_err(RunError::Write)?;
        let text = lines(&plan, &instance.numbers);
        std::fs::write(folder.join(format!("{name}.routes")), text).map_err(RunError::Write)?;
    }
    Ok(format!(
        "{name},{},{},{},{}.{},{},{}",
        instance.customers,
        seconds,
        args.seed,
        plan.cost / 10,
        plan.cost % 10,
        plan.routes.len(),
        outcome.iterations
    ))
}

/// One line a route: the customers' numbers in the file, in order.
fn lines(plan: &RoutePlan, numbers: &[usize]) -> String {
    let mut text = String::new();
    for (_, stops) in &plan.routes {
        for (at, stop) in stops.iter().enumerate() {
            let gap = if at == 0 { "" } else { " " };
            let _ = write!(text, "{gap}{}", numbers[*stop as usize]);
        }
        text.push('\n');
    }
    text
}
