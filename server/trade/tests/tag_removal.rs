//! What the tag-out's state machine keeps of 29 CFR 1910.147(e), release from lockout or tagout, paragraph by paragraph as
//! published, and what it leaves to the employer. The machine records and informs; it certifies nothing.

use forenoon_trade::tagout::{Event, Person, Refusal, Rules, State, Tag, is_to_be_told};

const RULES: Rules = Rules {
    inspector_differs_from_repairer: false,
};
const APPLIED: Person<u8> = Person {
    id: 1,
    mechanic: true,
};
const ANOTHER: Person<u8> = Person {
    id: 2,
    mechanic: true,
};
const NO_MECHANIC: Person<u8> = Person {
    id: 3,
    mechanic: false,
};
const STATES: [State; 6] = [
    State::Tagged,
    State::Diagnosed,
    State::WaitingForParts,
    State::Repaired,
    State::Inspected,
    State::Released,
];

fn released(state: State, by: Person<u8>) -> Result<Tag<u8>, Refusal> {
    let tag = Tag {
        state,
        repaired_by: None,
        inspected_by: None,
    };
    tag.after(Event::Release, by, RULES)
}

/// (e)(1): "The work area shall be inspected to ensure that nonessential items have been removed and to ensure that machine or
/// equipment components are operationally intact." Kept as far as the machine goes: no release but after an inspection that
/// was passed. What was inspected stands in words; the work area is the mechanic's to look over.
#[test]
fn no_release_but_after_an_inspection() {
    for state in STATES {
        let outcome = released(state, APPLIED);
        assert_eq!(outcome.is_ok(), state == State::Inspected, "{state:?}");
    }
    // A later repair or diagnosis, or a fault found worse, makes the inspection void.
    let inspected = released(State::Inspected, APPLIED).expect("released").state;
    assert_eq!(inspected, State::Released);
    let passed = Tag {
        state: State::Inspected,
        repaired_by: Some(1),
        inspected_by: Some(2),
    };
    for event in [
        Event::Repair,
        Event::Diagnose {
            waiting_for_parts: false,
        },
        Event::Raise,
    ] {
        let after = passed.after(event, APPLIED, RULES).expect("possible");
        let release = after.after(Event::Release, APPLIED, RULES);
        assert_eq!(release, Err(Refusal::WrongState(after.state)), "{event:?}");
    }
}

/// (e)(2)(i): "The work area shall be checked to ensure that all employees have been safely positioned or removed." (e)(2)(ii):
/// "After lockout or tagout devices have been removed and before a machine or equipment is started, affected employees shall be
/// notified that the lockout or tagout device(s) have been removed." The machine knows of nobody's place and of nobody who
/// works with the unit but who applied the tag: both are left to the employer. (e)(3): "Each lockout or tagout device shall be
/// removed from each energy isolating device by the employee who applied the device." Not enforced, as anybody tags and only
/// a mechanic releases; who may, by the company's word, is all that is checked.
#[test]
fn any_mechanic_releases_and_nobody_else() {
    assert!(released(State::Inspected, APPLIED).is_ok());
    assert!(released(State::Inspected, ANOTHER).is_ok());
    let refused = released(State::Inspected, NO_MECHANIC);
    assert_eq!(refused, Err(Refusal::NotAMechanic));
}

/// The exception to (e)(3) wants "(i) Verification by the employer that the authorized employee who applied the device is not
/// at the facility", which the machine cannot know; "(ii) Making all reasonable efforts to contact the authorized employee to
/// inform him/her that his/her lockout or tagout device has been removed; and (iii) Ensuring that the authorized employee has
/// this knowledge before he/she resumes work at that facility." For these it is told who that is, whenever another released.
#[test]
fn who_applied_the_tag_is_to_be_told_where_another_released() {
    let told = |applied: Option<u8>, by: Option<Person<u8>>| {
        is_to_be_told(applied, by.map(|person| person.id))
    };
    assert!(told(Some(APPLIED.id), Some(ANOTHER)));
    assert!(!told(Some(APPLIED.id), Some(APPLIED)));
    assert!(told(None, Some(ANOTHER)), "it is not known who applied it");
    assert!(!told(Some(APPLIED.id), None), "while it is open nobody is");
}
