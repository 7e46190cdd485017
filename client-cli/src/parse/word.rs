//! The contract's enumerations as the words people type and read: `TASK_KIND_BLOW_OFF` is `blow-off`.

use forenoon_proto::google::r#type::DayOfWeek;
use forenoon_proto::v1;

/// An enumeration of the contract with its words.
pub trait Word: TryFrom<i32> + Copy + Into<i32> {
    /// What every value's name in the contract begins with.
    const PREFIX: &'static str;

    /// The value's name in the contract.
    fn contract_name(self) -> &'static str;

    /// The value as a word; empty for the one that says nothing.
    fn word(self) -> String {
        if self.into() == 0 {
            return String::new();
        }
        let name = self.contract_name();
        name.strip_prefix(Self::PREFIX)
            .unwrap_or(name)
            .to_ascii_lowercase()
            .replace('_', "-")
    }

    /// Every value that says something, in the contract's order.
    fn all() -> Vec<Self> {
        (1..)
            .map_while(|value| Self::try_from(value).ok())
            .collect()
    }

    /// Reads a word, however people separate its parts.
    ///
    /// # Errors
    /// A sentence that lists the words there are.
    fn read(text: &str) -> Result<Self, String> {
        let typed = text.trim().to_ascii_lowercase().replace([' ', '_'], "-");
        let all = Self::all();
        if let Some(found) = all.iter().find(|value| value.word() == typed) {
            return Ok(*found);
        }
        let words: Vec<String> = all.iter().map(|value| value.word()).collect();
        Err(format!("\"{text}\" is none of: {}", words.join(", ")))
    }
}

/// The word of a raw value from the wire; `value N` for one this build does not know.
pub fn word_of<E: Word>(raw: i32) -> String {
    E::try_from(raw).map_or_else(|_| format!("value {raw}"), Word::word)
}

/// The same for sentences: spaces where the word has hyphens.
pub fn phrase_of<E: Word>(raw: i32) -> String {
    word_of::<E>(raw).replace('-', " ")
}

macro_rules! words {
    ($($kind:ty => $prefix:literal),* $(,)?) => {
        $(impl Word for $kind {
            const PREFIX: &'static str = $prefix;

            fn contract_name(self) -> &'static str {
                self.as_str_name()
            }
        })*
    };
}

words! {
    v1::AreaKind => "AREA_KIND_",
    v1::AreaShape => "AREA_SHAPE_",
    v1::Capability => "CAPABILITY_",
    v1::CaseKind => "CASE_KIND_",
    v1::Clippings => "CLIPPINGS_",
    v1::JobState => "JOB_STATE_",
    v1::NoiseCriterion => "NOISE_CRITERION_",
    v1::Obstacles => "OBSTACLES_",
    v1::PlanChangeKind => "PLAN_CHANGE_KIND_",
    v1::PlanState => "PLAN_STATE_",
    v1::ReasonKind => "REASON_KIND_",
    v1::Role => "ROLE_",
    v1::Severity => "SEVERITY_",
    v1::Sun => "SUN_",
    v1::Symptom => "SYMPTOM_",
    v1::TagOutState => "TAG_OUT_STATE_",
    v1::TaskKind => "TASK_KIND_",
    v1::TurfDensity => "TURF_DENSITY_",
    v1::UnitKind => "UNIT_KIND_",
    v1::UnitState => "UNIT_STATE_",
    v1::UnitSystem => "UNIT_SYSTEM_",
    v1::VisitState => "VISIT_STATE_",
    v1::WalkthroughOutcome => "WALKTHROUGH_OUTCOME_",
    DayOfWeek => "",
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_go_there_and_back() {
        for kind in v1::TaskKind::all() {
            assert_eq!(v1::TaskKind::read(&kind.word()), Ok(kind));
        }
        assert_eq!(v1::TaskKind::BlowOff.word(), "blow-off");
        assert_eq!(
            v1::Capability::read("Line head"),
            Ok(v1::Capability::LineHead)
        );
        assert_eq!(
            v1::Clippings::read("take_away"),
            Ok(v1::Clippings::TakeAway)
        );
        assert_eq!(v1::UnitSystem::UsCustomary.word(), "us-customary");
    }

    #[test]
    fn an_unknown_word_lists_the_known_ones() {
        let said = v1::Severity::read("awful").unwrap_err();
        assert_eq!(said, "\"awful\" is none of: unsafe, reduced");
        assert_eq!(word_of::<v1::Severity>(77), "value 77");
        assert_eq!(word_of::<v1::Severity>(0), "");
    }
}
