//! Goal: it is told who is to hear that a tag is off. Nobody is informed by the server, and nothing is certified.

use forenoon_proto::v1;

use crate::actors::{Api, asking};
use crate::house::on_both;
use crate::mowing_yard::{BRANCH, furnish, name};

/// Guards who is to hear of a release, after 29 CFR 1910.147(e)(3)(ii) and (iii): whoever tagged, where another released. While
/// the tag is open there is nobody to inform, nor where the mechanic who tagged releases; who is not of the branch is
/// told by the tag's contact.
#[tokio::test]
async fn whoever_tagged_is_to_be_informed_where_another_releases() {
    on_both(async |house| {
        furnish(&house.database, &[]).await;
        let mut api = Api::of(house);
        let stranger = v1::Contact {
            display_name: "the hire shop".into(),
            phone: "555-0190".into(),
            email: String::new(),
        };
        for (unit, found_by, inform) in [
            ("m-1", "lead-ash", Some(name("workers", "lead-ash"))),
            ("m-2", "moss", None),
            ("m-3", "", Some(String::new())),
        ] {
            let request = v1::TagOutRequest {
                parent: BRANCH.into(),
                tag_out: Some(v1::TagOut {
                    unit: name("units", unit),
                    symptom: v1::Symptom::Vibration.into(),
                    severity: v1::Severity::Unsafe.into(),
                    found_by: match found_by {
                        "" => String::new(),
                        id => name("workers", id),
                    },
                    contact: found_by.is_empty().then(|| stranger.clone()),
                    ..Default::default()
                }),
                ..Default::default()
            };
            let answer = api.tags.tag_out(asking(request)).await.expect("tagged");
            let tag = answer.into_inner().tag_out.expect("a tag");
            assert_eq!(tag.inform, None, "{unit} is out");
            // By moss.
            api.mend(&tag.name).await.expect("mended");
            let request = v1::GetTagOutRequest { name: tag.name };
            let answer = api.tags.get_tag_out(asking(request)).await.expect("read");
            let told = answer.into_inner().tag_out.expect("a tag").inform;
            let who = told.as_ref().map(|told| told.worker.clone());
            assert_eq!(who, inform, "{unit}");
            let contact = told.as_ref().and_then(|told| told.contact.clone());
            let expected = (inform.as_deref() == Some("")).then(|| stranger.clone());
            assert_eq!(contact, expected, "{unit}");
            let says = |told: v1::Inform| told.text.contains("certifies nothing");
            assert_eq!(told.map(says), inform.map(|_| true), "{unit}");
        }
    })
    .await;
}
