//! All that a server lists, to compare before and after.

use forenoon_proto::v1::{
    Branch, Crew, Job, ListBranchesRequest, ListCrewsRequest, ListJobsRequest, ListPlansRequest,
    ListSitesRequest, ListTagOutsRequest, ListUnitsRequest, ListWorkersRequest, Plan, Site, TagOut,
    Unit, Worker,
};

use std::collections::BTreeMap;

use crate::actors::Api;

/// The most items of one page.
const PAGE_SIZE: i32 = 1_000;

/// All that a server lists of a branch, and its branches.
#[derive(Clone, Debug, PartialEq)]
pub struct Contents {
    /// All branches.
    pub branches: Vec<Branch>,
    /// The branch's sites.
    pub sites: Vec<Site>,
    /// The branch's crews.
    pub crews: Vec<Crew>,
    /// The branch's workers.
    pub workers: Vec<Worker>,
    /// The branch's units.
    pub units: Vec<Unit>,
    /// The branch's jobs.
    pub jobs: Vec<Job>,
    /// The branch's tag-outs.
    pub tag_outs: Vec<TagOut>,
    /// The branch's plans.
    pub plans: Vec<Plan>,
}

macro_rules! all {
    ($client:expr, $call:ident, $request:ident, $items:ident, $branch:expr) => {
        $client
            .$call($request {
                parent: $branch.to_owned(),
                page_size: PAGE_SIZE,
                ..Default::default()
            })
            .await
            .expect("a list")
            .into_inner()
            .$items
    };
}

impl Contents {
    /// Reads everything of a branch, a resource name.
    pub async fn of(api: &Api, branch: &str) -> Self {
        let branches = api
            .branches()
            .list_branches(ListBranchesRequest {
                page_size: PAGE_SIZE,
                ..Default::default()
            })
            .await
            .expect("a list")
            .into_inner()
            .branches;
        Self {
            branches,
            sites: all!(api.sites(), list_sites, ListSitesRequest, sites, branch),
            crews: all!(api.crews(), list_crews, ListCrewsRequest, crews, branch),
            workers: all!(
                api.crews(),
                list_workers,
                ListWorkersRequest,
                workers,
                branch
            ),
            units: all!(api.units(), list_units, ListUnitsRequest, units, branch),
            jobs: all!(api.jobs(), list_jobs, ListJobsRequest, jobs, branch),
            tag_outs: all!(
                api.tag_outs(),
                list_tag_outs,
                ListTagOutsRequest,
                tag_outs,
                branch
            ),
            plans: all!(api.plans(), list_plans, ListPlansRequest, plans, branch),
        }
    }
}

/// All sites of a branch by name, however many pages they fill. None comes twice.
pub async fn sites(api: &Api, branch: &str) -> BTreeMap<String, Site> {
    let mut all = BTreeMap::new();
    let mut page_token = String::new();
    loop {
        let request = ListSitesRequest {
            parent: branch.to_owned(),
            page_size: PAGE_SIZE,
            page_token,
        };
        let page = api.sites().list_sites(request).await;
        let page = page.expect("a page").into_inner();
        for site in page.sites {
            let twice = all.insert(site.name.clone(), site);
            assert_eq!(twice, None, "a site comes twice");
        }
        page_token = page.next_page_token;
        if page_token.is_empty() {
            return all;
        }
    }
}
