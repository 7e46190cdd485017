//! Somebody to ask or to meet, between wire and domain.

use forenoon_proto::v1;
use forenoon_store::value::Contact;

use super::checks::{Checked, Checks};

/// A contact as the wire has it.
pub(crate) fn contact(contact: Contact) -> v1::Contact {
    let Contact {
        display_name,
        phone,
        email,
    } = contact;
    v1::Contact {
        display_name,
        phone,
        email,
    }
}

impl Checks {
    /// A contact; none where absent, or where it says nothing: nobody can be asked by an empty name.
    pub(crate) fn contact(
        &mut self,
        field: &str,
        value: Option<v1::Contact>,
    ) -> Checked<Option<Contact>> {
        let Some(v1::Contact {
            display_name,
            phone,
            email,
        }) = value
        else {
            return Some(None);
        };
        self.within(field, |checks| {
            let display_name = checks.text("display_name", display_name, 0..=200);
            let phone = checks.text("phone", phone, 0..=40);
            let email = checks.text("email", email, 0..=254);
            let contact = Contact {
                display_name: display_name?,
                phone: phone?,
                email: email?,
            };
            let says_something = [&contact.display_name, &contact.phone, &contact.email]
                .into_iter()
                .any(|text| !text.trim().is_empty());
            Some(says_something.then_some(contact))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_contact_without_a_word_is_none() {
        let read = |display_name: &str, phone: &str| {
            let wire = v1::Contact {
                display_name: display_name.into(),
                phone: phone.into(),
                email: String::new(),
            };
            Checks::new().contact("contact", Some(wire)).expect("sound")
        };
        assert_eq!(read("", ""), None);
        assert_eq!(read(" ", ""), None);
        let known = read("", "555-0101").expect("a number is enough");
        assert_eq!(known.phone, "555-0101");
    }
}
