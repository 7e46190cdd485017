//! Goal: what people are told to type on a server's machine is understood, and goes to the database that is served.
//! Method: the lines of deploy/README.md that run the program are taken apart as the program takes them.

use std::path::Path;

use clap::Parser;
use forenoon_server::config::Arguments;

const README: &str = include_str!("../../../deploy/README.md");
const UNIT: &str = include_str!("../../../deploy/forenoon-server.service");
const SETTINGS: &str = "/etc/forenoon/server.toml";
/// What the program does with the database beside the server.
const TASKS: [&str; 3] = ["backup", "archive", "key"];

/// What the shell puts in for the day, and what stands for it here.
const DAY: [&str; 2] = ["$(date +\\%F)", "2027-04-20"];

/// The program's arguments, and what stands before them on the line.
fn commands() -> Vec<(String, Vec<String>)> {
    README
        .replace(DAY[0], DAY[1])
        .split(['`', '\n'])
        .filter_map(|line| line.split_once("forenoon-server "))
        .map(|(before, arguments)| {
            let arguments = arguments.split_whitespace().map(str::to_owned);
            (before.to_owned(), arguments.collect::<Vec<_>>())
        })
        .filter(|(_, arguments)| arguments.iter().any(|one| TASKS.contains(&one.as_str())))
        .collect()
}

/// Without its settings a task would find another database than the one that is served, or none: a backup that a machine
/// makes by night would be missed when it is needed.
#[test]
fn tasks_beside_the_server_are_told_where_its_settings_are() {
    let commands = commands();
    assert!(commands.len() >= 4, "{commands:?}");
    for (before, arguments) in commands {
        let line = std::iter::once("forenoon-server".to_owned()).chain(arguments.clone());
        let taken = Arguments::try_parse_from(line).expect("understood");
        assert_eq!(taken.config.as_deref(), Some(Path::new(SETTINGS)));
        assert!(taken.task.is_some(), "{before}{arguments:?}");
    }
}

/// Files that a task makes, and those that it finds, are the server's own.
#[test]
fn the_user_of_the_service_is_one_that_others_can_be() {
    assert!(UNIT.contains("\nUser=forenoon\n"), "{UNIT}");
    assert!(!UNIT.contains("DynamicUser"), "{UNIT}");
    assert!(README.contains("useradd --system"));
    let by_night: Vec<_> = commands()
        .into_iter()
        .filter(|(before, _)| before.contains("* * *"))
        .collect();
    let [(before, arguments)] = by_night.as_slice() else {
        panic!("{by_night:?}");
    };
    assert!(before.contains(" forenoon /usr/local/bin/"), "{before}");
    let file = arguments.last().expect("a file");
    assert!(Path::new(file).is_absolute(), "{file}");
}
