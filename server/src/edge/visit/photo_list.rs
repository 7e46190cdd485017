//! What photographs there are, without their bytes.

use forenoon_proto::v1;
use forenoon_store::entity::{photo, photo_subject};
use tonic::Response;

use super::photo::media_word;
use super::service::VisitApi;
use crate::edge::checks::Checks;
use crate::edge::name::parse;
use crate::edge::time;
use crate::work::photo::Subject;
use crate::work::{self, Error, Reason};

/// The most subjects of one list.
const SUBJECTS_MAX: usize = 100;

impl VisitApi {
    pub(super) async fn photos(
        &self,
        request: v1::ListPhotosRequest,
    ) -> Result<Response<v1::ListPhotosResponse>, Error> {
        let query = v1::ListPhotosRequest {
            page_size: 0,
            page_token: String::new(),
            ..request.clone()
        };
        let v1::ListPhotosRequest {
            parent,
            subjects,
            page_size,
            page_token,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let known = branch.clone().unwrap_or_default();
        if subjects.is_empty() {
            checks.fault::<()>(
                "subjects",
                Reason::Required,
                "is empty; say of what photographs are wanted",
            );
        }
        checks.distinct("subjects", "", &subjects);
        let subjects = checks.each("subjects", subjects, SUBJECTS_MAX, |checks, name| {
            subject_from_wire(checks, "", &known, &name).map(|subject| subject.name(&known))
        });
        let page = checks.page("ListPhotos", &query, page_size, &page_token);
        let ((branch, subjects), page) = checks.finish(branch.zip(subjects).zip(page))?;
        let read = self.0.database.begin_read().await?;
        work::branch::get(&read, &branch).await?;
        let after = page.after.as_deref().and_then(|key| match key {
            [subject, sha256] => Some((subject.as_str(), sha256.as_str())),
            _ => None,
        });
        let rows = work::photo::list(&read, &branch, &subjects, after, page.limit()).await?;
        read.commit().await?;
        let (rows, next_page_token) = page.cut(rows, |(link, _)| {
            vec![link.subject.clone(), link.sha256.clone()]
        });
        Ok(Response::new(v1::ListPhotosResponse {
            photos: rows.into_iter().map(to_wire).collect(),
            next_page_token,
        }))
    }
}

fn to_wire((link, photo): (photo_subject::Model, photo::Model)) -> v1::Photo {
    let photo_subject::Model {
        branch_id: _,
        subject,
        sha256,
        create_time,
    } = link;
    v1::Photo {
        subject,
        sha256,
        media_type: media_word(photo.media_type).to_owned(),
        size_bytes: i64::from(photo.size_bytes),
        create_time: Some(time::timestamp(create_time)),
    }
}

/// What a photograph is of: a job, a tag-out or a case of the branch.
pub(super) fn subject_from_wire(
    checks: &mut Checks,
    field: &str,
    branch: &str,
    name: &str,
) -> Option<Subject> {
    if name.is_empty() {
        return checks.fault(
            field,
            Reason::Required,
            "is empty; say what the photograph is of",
        );
    }
    for collection in ["jobs", "tagOuts", "cases"] {
        let Some([of, id]) = parse(["branches", collection], name) else {
            continue;
        };
        if of != branch {
            return checks.fault(field, Reason::UnknownReference, "is of another branch");
        }
        return Some(match collection {
            "jobs" => Subject::Job(id),
            "tagOuts" => Subject::TagOut(id),
            _ => Subject::Case(id),
        });
    }
    checks.fault(
        field,
        Reason::Malformed,
        "is no name of a job, a tag-out or a case",
    )
}
