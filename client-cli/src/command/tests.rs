//! The commands as they are written: every example in every help must be one.

use clap::{CommandFactory, Parser};

use super::Cli;

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
