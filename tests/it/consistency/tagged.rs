//! No unit that is tagged out goes out with a plan, whatever fails meanwhile: by what clients saw and by what the database
//! has.

use std::collections::BTreeSet;

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::Plan;
use forenoon_tests::actors::last_part;
use forenoon_tests::database::Database;

/// A draft that clients may publish.
#[derive(Clone, Debug)]
pub(crate) struct Draft {
    pub(crate) name: String,
    pub(crate) day: Date,
    /// Ids of the units that it has aboard or at stops.
    pub(crate) units: BTreeSet<String>,
}

impl Draft {
    pub(crate) fn of(plan: &Plan) -> Self {
        let crews = &plan.crew_days;
        let stops = crews.iter().flat_map(|crew| &crew.stops);
        let at_stops = stops
            .flat_map(|stop| &stop.tasks)
            .flat_map(|task| &task.units);
        let aboard = crews.iter().flat_map(|crew| &crew.load_out);
        Self {
            name: plan.name.clone(),
            day: plan.day.expect("a day"),
            units: aboard.chain(at_stops).map(|name| last_part(name)).collect(),
        }
    }
}

/// Places in the history at which a call began and ended: it was done somewhere between.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Span {
    pub(crate) began: u64,
    pub(crate) ended: u64,
}

/// A unit's time out of service; a tag or release without a span is none that clients saw accepted.
#[derive(Clone, Debug, Default)]
pub(crate) struct Out {
    pub(crate) unit: String,
    pub(crate) tagged: Option<Span>,
    pub(crate) released: Option<Span>,
}

impl Out {
    /// Whether it was out all the while, however calls are put in order.
    fn certainly_in(&self, span: Span) -> bool {
        self.tagged.is_some_and(|tagged| tagged.ended < span.began)
            && self
                .released
                .is_none_or(|released| released.began > span.ended)
    }

    /// Whether it may have been out at some moment of it.
    fn maybe_in(&self, span: Span) -> bool {
        self.tagged.is_some_and(|tagged| tagged.began < span.ended)
            && self
                .released
                .is_none_or(|released| released.ended > span.began)
    }
}

/// A draft that was published, or kept back as a unit of it was tagged out.
#[derive(Clone, Debug)]
pub(crate) struct Publication {
    pub(crate) plan: String,
    pub(crate) span: Span,
    pub(crate) kept: bool,
}

/// What is wrong in what clients saw, in words: a draft published while a unit of it was out, or kept back while none can
/// have been.
pub(crate) fn wrong(drafts: &[Draft], outs: &[Out], publications: &[Publication]) -> Vec<String> {
    let mut wrong = Vec::new();
    for publication in publications {
        let draft = drafts.iter().find(|draft| draft.name == publication.plan);
        let units = &draft.expect("a draft of the round").units;
        let of_draft = || outs.iter().filter(|out| units.contains(&out.unit));
        let span = publication.span;
        if publication.kept {
            if !of_draft().any(|out| out.maybe_in(span)) {
                wrong.push(format!("{publication:?} has no unit that was out"));
            }
        } else if let Some(out) = of_draft().find(|out| out.certainly_in(span)) {
            wrong.push(format!("{publication:?} has {out:?}"));
        }
    }
    wrong
}

/// What the database has that must not be, in words. The order in which things happened is that of the audit's numbers, which are
/// given in the transactions that do them; times are taken before.
pub(crate) async fn breaches(database: &Database) -> Vec<&'static str> {
    let (tasks, units) = if database.file().is_some() {
        (
            "json_each(s.tasks) task",
            "json_each(task.value, '$.unit_ids') unit",
        )
    } else {
        (
            "jsonb_array_elements(s.tasks) task(value)",
            "jsonb_array_elements_text(task.value -> 'unit_ids') unit(value)",
        )
    };
    let aboard = "SELECT branch_id, plan_id, unit_id FROM plan_load_out";
    let at_stops = format!(
        "SELECT s.branch_id, s.plan_id, unit.value AS unit_id FROM plan_stop s, {tasks}, {units}"
    );
    // What was published with the tags that the unit had been given by then.
    let out_with = |used: &str| {
        format!(
            "SELECT count(*) FROM ({used}) used \
             JOIN audit_entry published ON published.branch_id = used.branch_id \
             AND published.kind = 'plan.published' \
             AND published.subject = 'branches/' || used.branch_id || '/plans/' || used.plan_id \
             JOIN tag_out t ON t.branch_id = used.branch_id AND t.unit_id = used.unit_id AND t.severity = 'unsafe' \
             JOIN audit_entry tagged ON tagged.branch_id = t.branch_id \
             AND tagged.kind IN ('tag_out.tagged', 'tag_out.reopened') \
             AND tagged.subject = 'branches/' || t.branch_id || '/tagOuts/' || t.id \
             LEFT JOIN audit_entry released ON released.branch_id = t.branch_id \
             AND released.kind = 'tag_out.released' AND released.subject = tagged.subject \
             WHERE tagged.seq < published.seq"
        )
    };
    let then = "AND (released.seq IS NULL OR released.seq > published.seq)";
    let mut found = Vec::new();
    for (breach, query) in [
        (
            "a plan was published with a unit aboard that was tagged out",
            format!("{} {then}", out_with(aboard)),
        ),
        (
            "a plan was published with a unit at a stop that was tagged out",
            format!("{} {then}", out_with(&at_stops)),
        ),
        (
            "a plan is newer than an open tag of its unit",
            format!(
                "{} AND t.state <> 'released'",
                out_with(&format!("{aboard} UNION {at_stops}"))
            ),
        ),
        (
            "a plan was published without its audit entry",
            "SELECT count(*) FROM plan p WHERE p.state IN ('published', 'replaced') AND NOT EXISTS \
             (SELECT 1 FROM audit_entry a WHERE a.branch_id = p.branch_id AND a.kind = 'plan.published' \
             AND a.subject = 'branches/' || p.branch_id || '/plans/' || p.id)"
                .to_owned(),
        ),
        (
            "a tag was hung or taken off without its audit entry",
            "SELECT count(*) FROM tag_out t WHERE \
             (SELECT count(*) FROM audit_entry a WHERE a.branch_id = t.branch_id \
             AND a.kind IN ('tag_out.tagged', 'tag_out.reopened', 'tag_out.released') \
             AND a.subject = 'branches/' || t.branch_id || '/tagOuts/' || t.id) \
             <> CASE WHEN t.state = 'released' THEN 2 ELSE 1 END"
                .to_owned(),
        ),
    ] {
        if database.number(&query).await != 0 {
            found.push(breach);
        }
    }
    found
}

#[test]
fn a_draft_published_or_kept_back_at_the_wrong_moment_is_seen() {
    let drafts = [Draft {
        name: "p-1".to_owned(),
        day: Date::default(),
        units: BTreeSet::from(["mower".to_owned()]),
    }];
    let span = |began, ended| Span { began, ended };
    let out = |unit: &str, released| Out {
        unit: unit.to_owned(),
        tagged: Some(span(10, 20)),
        released,
    };
    let publication = |began, ended, kept| Publication {
        plan: "p-1".to_owned(),
        span: span(began, ended),
        kept,
    };
    let back = Some(span(30, 40));
    for (out, published, sound) in [
        (out("mower", back), publication(1, 9, false), true),
        (out("mower", back), publication(15, 25, false), true),
        (out("mower", back), publication(22, 28, false), false),
        (out("mower", back), publication(22, 32, false), true),
        (out("mower", None), publication(50, 60, false), false),
        (out("blower", None), publication(50, 60, false), true),
        (out("mower", back), publication(1, 9, true), false),
        (out("mower", back), publication(1, 12, true), true),
        (out("mower", back), publication(22, 28, true), true),
        (out("mower", back), publication(41, 50, true), false),
        (out("blower", back), publication(22, 28, true), false),
    ] {
        let found = wrong(
            &drafts,
            std::slice::from_ref(&out),
            std::slice::from_ref(&published),
        );
        assert_eq!(found.is_empty(), sound, "{out:?} {published:?}");
    }
}

mod seen {
    use forenoon_proto::v1::Symptom;
    use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic};
    use forenoon_tests::database::Database;
    use forenoon_tests::on_both;
    use forenoon_tests::server::Server;
    use forenoon_tests::small_branch::{
        ASH, BRANCH, BRANCH_ID, MECHANIC, branch, day, records, unit_name, unsafe_tag,
    };

    use super::{Draft, breaches};

    on_both!(a_tagged_unit_that_goes_out_is_seen);

    async fn a_tagged_unit_that_goes_out_is_seen(database: Database) {
        let server = Server::start(&database).await;
        let api = Api::of(&server);
        api.create_branch(BRANCH_ID, branch()).await;
        api.import(BRANCH, records()).await;
        let dispatcher = Dispatcher::new(&api, BRANCH);
        let plan = dispatcher.plan(day(), 1, 100).await;
        let plan = dispatcher.publish(&plan).await;
        let stop = plan.crew_days.iter().flat_map(|crew| &crew.stops);
        let unit = stop
            .flat_map(|stop| &stop.tasks)
            .flat_map(|task| &task.units)
            .next()
            .expect("a unit at a stop");
        assert!(Draft::of(&plan).units.contains("truck-1"));
        let lead = CrewLead::new(&api, BRANCH, ASH);
        let mut tags = Vec::new();
        for unit in [&unit_name("truck-1"), unit] {
            let tagged = lead.tag_out(unsafe_tag(unit, Symptom::Leak)).await;
            tags.push(tagged.tag_out.expect("the tag"));
        }
        assert!(breaches(&database).await.is_empty());
        // As if it had been published once more, after the tags.
        database
            .execute(&format!(
                "INSERT INTO audit_entry (branch_id, seq, at, actor, method, subject, kind) \
                 SELECT branch_id, (SELECT max(seq) + 1 FROM audit_entry), at, actor, method, subject, kind \
                 FROM audit_entry WHERE kind = 'plan.published' AND subject = '{}'",
                plan.name
            ))
            .await;
        let (aboard, at_stop, newer) = (
            "a plan was published with a unit aboard that was tagged out",
            "a plan was published with a unit at a stop that was tagged out",
            "a plan is newer than an open tag of its unit",
        );
        assert_eq!(breaches(&database).await, [aboard, at_stop, newer]);
        database
            .execute("UPDATE branch_sequence SET last_seq = last_seq + 1")
            .await;
        let mechanic = Mechanic::new(&api, MECHANIC);
        mechanic.bring_back(&tags[1]).await;
        assert_eq!(breaches(&database).await, [aboard, at_stop, newer]);
        mechanic.bring_back(&tags[0]).await;
        assert_eq!(breaches(&database).await, [aboard, at_stop]);
        database
            .execute("DELETE FROM audit_entry WHERE kind IN ('tag_out.released', 'plan.published')")
            .await;
        assert_eq!(
            breaches(&database).await,
            [
                "a plan was published without its audit entry",
                "a tag was hung or taken off without its audit entry"
            ]
        );
    }
}
