//! Numbers for words: skills as the planner counts them.

use std::collections::BTreeMap;

use forenoon_planner::SkillIx;

/// Numbers skills in the order in which they are met.
#[derive(Default)]
pub(crate) struct SkillNumbers(BTreeMap<String, SkillIx>);

impl SkillNumbers {
    /// The number of a skill.
    pub(crate) fn number(&mut self, skill: &str) -> SkillIx {
        let next = SkillIx::from_ix(self.0.len());
        *self.0.entry(skill.to_owned()).or_insert(next)
    }

    /// The skill of a number.
    pub(crate) fn word(&self, number: SkillIx) -> &str {
        self.0
            .iter()
            .find(|(_, known)| **known == number)
            .map_or("", |(word, _)| word)
    }
}
