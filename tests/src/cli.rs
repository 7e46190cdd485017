//! Runs the dispatcher's command as a person would, off a terminal.

use std::ffi::OsStr;
use std::process::{Command, Stdio};

use crate::programs;

/// What one run of the command came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Run {
    /// Its exit code; none where a signal ended it.
    pub code: Option<i32>,
    /// What it printed.
    pub output: String,
    /// What it said beside that.
    pub messages: String,
}

impl Run {
    /// The output of a run that went well.
    pub fn output_of_success(self) -> String {
        assert_eq!(self.code, Some(0), "{}{}", self.output, self.messages);
        self.output
    }
}

/// Runs `forenoon` with arguments and nothing of the caller's environment but the path.
pub fn forenoon<A: AsRef<OsStr>>(arguments: impl IntoIterator<Item = A>) -> Run {
    let answer = Command::new(programs::client())
        .args(arguments)
        .env_clear()
        .env("PATH", std::env::var_os("PATH").unwrap_or_default())
        .stdin(Stdio::null())
        .output()
        .expect("the command runs");
    Run {
        code: answer.status.code(),
        output: String::from_utf8(answer.stdout).expect("output in UTF-8"),
        messages: String::from_utf8(answer.stderr).expect("messages in UTF-8"),
    }
}
