//! Lists read to their last page.

use forenoon_proto::v1;

use super::Link;
use crate::failure::Failure;

/// Entries asked for at a time; the contract's most.
const PAGE_SIZE: i32 = 1000;
/// Pages read at most: a million entries, beyond any branch.
const PAGES_MAX: usize = 1000;

/// Reads pages until the last.
async fn all<T, W>(mut page: impl FnMut(String) -> W) -> Result<Vec<T>, Failure>
where
    W: Future<Output = Result<(Vec<T>, String), Failure>>,
{
    let mut entries = Vec::new();
    let mut token = String::new();
    for _ in 0..PAGES_MAX {
        let (more, next) = page(token).await?;
        entries.extend(more);
        if next.is_empty() {
            return Ok(entries);
        }
        token = next;
    }
    Err(Failure::Other(format!(
        "the server's list does not end after {PAGES_MAX} pages"
    )))
}

macro_rules! lists {
    ($($name:ident: $method:ident($request:ident) => $field:ident: $entry:ident;)*) => {
        impl Link {
            $(
                /// Every entry of the list, all pages; the page fields of the request are ignored.
                ///
                /// # Errors
                /// What the server answers, or that it cannot be reached.
                pub async fn $name(&self, request: v1::$request) -> Result<Vec<v1::$entry>, Failure> {
                    all(|page_token| {
                        let mut request = request.clone();
                        request.page_size = PAGE_SIZE;
                        request.page_token = page_token;
                        async move {
                            let answer = self.$method(request).await?;
                            Ok((answer.$field, answer.next_page_token))
                        }
                    })
                    .await
                }
            )*
        }
    };
}

lists! {
    all_branches: list_branches(ListBranchesRequest) => branches: Branch;
    all_cases: list_cases(ListCasesRequest) => cases: Case;
    all_crews: list_crews(ListCrewsRequest) => crews: Crew;
    all_workers: list_workers(ListWorkersRequest) => workers: Worker;
    all_sites: list_sites(ListSitesRequest) => sites: Site;
    all_units: list_units(ListUnitsRequest) => units: Unit;
    all_jobs: list_jobs(ListJobsRequest) => jobs: Job;
    all_plans: list_plans(ListPlansRequest) => plans: Plan;
    all_photos: list_photos(ListPhotosRequest) => photos: Photo;
    all_tag_outs: list_tag_outs(ListTagOutsRequest) => tag_outs: TagOut;
}
