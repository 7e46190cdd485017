//! `forenoon-server key`: gives keys out, lists and ends them, and says so in lines.

use chrono::{DateTime, SecondsFormat, Utc};
use clap::ValueEnum;
use forenoon_store::Database;
use forenoon_store::entity::access_key;
use forenoon_store::value::Role;

use crate::config::{KeyRole, KeyTask};
use crate::work::sign_in::{Issued, KeyError, Terms, end_key, issue_key, list_keys};

/// Does what is asked, and answers with what to print.
pub(crate) async fn tend(
    database: &Database,
    task: KeyTask,
    now: DateTime<Utc>,
) -> Result<Vec<String>, KeyError> {
    match task {
        KeyTask::Issue {
            branch,
            worker,
            holder,
            role,
            everything,
        } => {
            let terms = Terms {
                branch,
                worker,
                holder,
                roles: role.into_iter().map(Role::from).collect(),
                everything,
            };
            let Issued { id, secret, holder } = issue_key(database, terms, now).await?;
            // The key alone on its line, so that a script can take the last.
            Ok(vec![
                format!("key {id} for {holder}; it is shown this once"),
                secret.to_string(),
            ])
        }
        KeyTask::List => {
            let keys = list_keys(database).await?;
            Ok(keys.iter().map(line).collect())
        }
        KeyTask::End { id } => {
            let key = end_key(database, &id, now).await?;
            Ok(vec![line(&key)])
        }
    }
}

/// A key in one line, separated by tabs.
fn line(key: &access_key::Model) -> String {
    let instant = |at: DateTime<Utc>| at.to_rfc3339_opts(SecondsFormat::Secs, true);
    let roles = if key.worker_id.is_some() {
        "as in the worker's record".to_owned()
    } else if key.everything {
        "everything".to_owned()
    } else {
        let words: Vec<_> = key.roles.0.iter().map(|role| word(*role)).collect();
        words.join(",")
    };
    [
        key.id.clone(),
        key.holder.clone(),
        key.branch_id
            .clone()
            .unwrap_or_else(|| "every branch".to_owned()),
        roles,
        instant(key.issue_time),
        key.end_time.map_or_else(|| "good".to_owned(), instant),
    ]
    .join("\t")
}

/// A role as `--role` takes it.
fn word(role: Role) -> String {
    let value = KeyRole::from(role).to_possible_value();
    value.map_or_else(String::new, |value| value.get_name().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the list shows is what `--role` takes, for every role that a worker may have.
    #[test]
    fn roles_are_told_in_the_words_by_which_they_are_given() {
        for role in KeyRole::value_variants() {
            let word = word(Role::from(*role));
            assert_eq!(KeyRole::from_str(&word, false), Ok(*role), "{word}");
        }
        assert_eq!(word(Role::CrewLead), "crew-lead");
    }
}
