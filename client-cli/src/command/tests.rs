//! The commands as they are written: every example in every help must be one.

use clap::{CommandFactory, Parser};

use std::time::Duration;

use super::Cli;
use crate::connect::{Address, connect};
use crate::desk::BranchDesk;
use crate::output::clock::Clock;
use crate::output::screen::{Format, Screen};

/// A desk for scripts, in the small hours of 20 April 2027 at a branch in a zone.
pub(super) fn branch_desk(server: &str, zone: chrono_tz::Tz) -> BranchDesk {
    let clock = Clock { zone };
    let now = "2027-04-20T10:00:00Z".parse().unwrap();
    BranchDesk {
        link: connect(&Address {
            server: server.to_owned(),
            key: None,
            certificate_authority_pem: None,
            timeout: Duration::from_secs(5),
        })
        .unwrap(),
        screen: Screen {
            format: Format::Plain,
            width: 72,
        },
        branch: forenoon_proto::v1::Branch {
            name: "branches/north".to_owned(),
            time_zone: zone.to_string(),
            ..forenoon_proto::v1::Branch::default()
        },
        clock,
        today: clock.date(now),
        now,
    }
}

#[test]
fn the_definition_is_sound() {
    Cli::command().debug_assert();
}

/// Splits a line as a shell would, as far as examples need it: blanks, double quotes, no more.
fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let mut quoted = false;
    for sign in line.chars() {
        match sign {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(std::mem::take(&mut word)),
            _ => word.push(sign),
        }
    }
    words.push(word);
    words.retain(|word| !word.is_empty());
    words
}

fn examples(command: &clap::Command, found: &mut Vec<String>) {
    let help = command
        .get_after_help()
        .map(ToString::to_string)
        .unwrap_or_default();
    let joined = help.replace("\\\n", " ");
    found.extend(
        joined
            .lines()
            .map(str::trim)
            .filter(|line| line.starts_with("forenoon "))
            .filter_map(|line| line.split(['|', '>']).next())
            .map(str::to_owned),
    );
    for inner in command.get_subcommands() {
        examples(inner, found);
    }
}

#[test]
fn every_example_in_the_help_can_be_typed() {
    let mut found = Vec::new();
    examples(&Cli::command(), &mut found);
    assert!(found.len() > 40, "only {} examples were found", found.len());
    for example in found {
        if let Err(error) = Cli::try_parse_from(words(&example)) {
            panic!("{example}\n{error}");
        }
    }
}

#[test]
fn every_command_has_an_example() {
    for command in Cli::command().get_subcommands() {
        let mut found = Vec::new();
        examples(command, &mut found);
        let name = command.get_name();
        assert!(!found.is_empty() || name == "ping", "{name} has none");
    }
}

#[test]
fn what_cannot_be_meant_is_refused() {
    for line in [
        "forenoon plan --iterations 0",
        "forenoon plan today --day tomorrow",
        "forenoon inspect t-1 --by moss words",
        "forenoon inspect t-1 --by moss --passed --failed words",
        "forenoon tag-out m-36 --symptom sulks --by ada",
        "forenoon tag-out m-36 --symptom leak",
        "forenoon import",
        "forenoon finish j-1 --crew a --bags 1001",
        "forenoon --timeout 0 day",
    ] {
        assert!(Cli::try_parse_from(words(line)).is_err(), "{line}");
    }
}
