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
    /// A contact; none where absent.
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
            Some(Some(Contact {
                display_name: display_name?,
                phone: phone?,
                email: email?,
            }))
        })
    }
}
