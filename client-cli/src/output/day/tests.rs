//! The page of the fixed day.

use forenoon_proto::v1::{CrewBreak, SharedUnit, VisitState, YardCall};

use super::super::fixture::{CLOCK, at, jobs, plan, tags, today, visits};
use super::*;

fn stripped(plan: &Plan, tags: &[TagOut], visits: &[Visit]) -> String {
    stripped_at(100, plan, tags, visits)
}

fn stripped_at(width: usize, plan: &Plan, tags: &[TagOut], visits: &[Visit]) -> String {
    let jobs = jobs();
    let day = Day {
        plan,
        jobs: &jobs,
        tag_outs: tags,
        visits,
        clock: CLOCK,
        today: today(),
    };
    anstream::adapter::strip_str(&page(&day, width)).to_string()
}

#[test]
fn the_most_urgent_facts_come_first() {
    let page = stripped(&plan(), &tags(), &[]);
    let places: Vec<usize> = [
        "Tue 20 Apr 2027",
        "3 of 5 jobs planned, 2 crews out; work 4 h 45, drive 1 h 20, waiting 15 min, overtime 20 min",
        "FIRST",
        "!! NOT PLANNED: County notice, Mill lane (due 17:00): needs a blade head; b-2 is tagged out",
        "> Due 12:00 by county notice: First cut, Bluestem done by 10:55, 1 h 05 to spare",
        "> Meet Mrs Finch 07:30-08:15 at Alder house: Bluestem, after the work, there 08:00",
        "x t-7 Blade head 2 (b-2) tagged out since 08:12: cutting part; waiting for parts, back 14:00",
        "CREWS         6   7   8   9   10  11",
        "Bluestem         -1111-.2222222222-     back 11:10, over by 20 min",
        "Sedge             -111111-",
        "No stops: Reed",
        "!1 07:05-08:00 Alder house ",
        "!2 08:30-10:55 Weld lot ",
        "NOT PLANNED\n",
        "Weekly mowing, Elm court (j-later)",
        "- no crew has 50 minutes left",
        "`forenoon sheets --plan 2027-04-20-2`",
    ]
    .iter()
    .map(|part| page.find(part).unwrap_or_else(|| panic!("missing {part:?} in\n{page}")))
    .collect();
    assert!(places.is_sorted(), "out of order in\n{page}");
    assert!(
        page.lines().all(|line| line.chars().count() <= 100),
        "too wide:\n{page}"
    );
    assert!(!page.contains("BROKEN"), "{page}");
}

#[test]
fn broken_promises_late_deadlines_and_tagged_units_aboard_cry_out() {
    let mut plan = plan();
    plan.crew_days[0].stops[0].finish_time = at("8:20");
    plan.crew_days[0].stops[1].finish_time = at("12:30");
    plan.crew_days[0]
        .load_out
        .push("branches/north/units/b-2".into());
    let page = stripped(&plan, &tags(), &[]);
    let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        page.contains("there 08:20, PROMISE BROKEN for Weekly mowing"),
        "{page}"
    );
    assert!(page.contains("done by 12:30, 30 min TOO LATE"), "{page}");
    assert!(
        page.contains("Blade head 2 (b-2) is tagged out and still in Bluestem's load-out"),
        "{page}"
    );
}

/// The page as one line of words.
fn words(plan: &Plan, jobs: &BTreeMap<String, Job>, tags: &[TagOut], visits: &[Visit]) -> String {
    let day = Day {
        plan,
        jobs,
        tag_outs: tags,
        visits,
        clock: CLOCK,
        today: today(),
    };
    let page = anstream::adapter::strip_str(&page(&day, 100)).to_string();
    page.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_promise_that_was_kept_stays_kept_when_the_rest_of_the_work_is_planned_anew() {
    let mut jobs = jobs();
    let alder = jobs.get_mut("branches/north/jobs/j-alder").unwrap();
    alder.promise.as_mut().unwrap().before_work = true;
    // A re-plan at ten has the rest of the work begin there and then.
    let mut plan = plan();
    plan.crew_days[0].stops[0].start_time = at("10:00");
    let began = |hm: &str| Visit {
        start_time: at(hm),
        finish_time: None,
        state: VisitState::Working.into(),
        ..visits().remove(0)
    };
    for (visits, said) in [
        (vec![began("7:40")], "there 07:40"),
        (
            vec![Visit {
                arrive_time: at("8:10"),
                ..began("8:20")
            }],
            "there 08:10",
        ),
        (vec![began("8:20")], "there 08:20, PROMISE BROKEN"),
        (vec![], "there 10:00, PROMISE BROKEN"),
    ] {
        let page = words(&plan, &jobs, &[], &visits);
        assert!(page.contains(&format!("before the work, {said}")), "{page}");
        let broken = page.contains("BROKEN");
        assert_eq!(broken, said.contains("BROKEN"), "{page}");
    }
    // Who comes after a crew that gave up too early may still keep it.
    plan.crew_days[0].stops[0].start_time = at("8:00");
    let gave_up = Visit {
        crew: "branches/north/crews/sedge".into(),
        state: VisitState::NotDone.into(),
        ..began("7:00")
    };
    let page = words(&plan, &jobs, &[], &[gave_up]);
    assert!(
        page.contains("there 08:00") && !page.contains("BROKEN"),
        "{page}"
    );
}

#[test]
fn reasons_say_whether_one_must_go_or_all() {
    let mut plan = plan();
    let job = &mut plan.unplanned_jobs[0];
    let mut other = job.reasons[0].clone();
    other.text = "Reed lacks 20 min".to_owned();
    job.reasons.push(other);
    for (remedy, heading, between) in [
        (
            Remedy::AnyOne,
            "fits once any one of these",
            "; or: Reed lacks 20 min",
        ),
        (
            Remedy::AllTogether,
            "fits only once all of these",
            "; and: Reed lacks 20 min",
        ),
    ] {
        plan.unplanned_jobs[0].remedy = remedy.into();
        let page = words(&plan, &jobs(), &[], &[]);
        for part in [heading, between] {
            assert!(page.contains(part), "missing {part:?} in {page}");
        }
        assert_eq!(page.matches("out of the way").count(), 1, "{page}");
    }
}

#[test]
fn work_that_is_overdue_is_among_the_first_until_it_is_done() {
    let (planned, left_out) = ("branches/north/jobs/j-weld", "branches/north/jobs/j-notice");
    let mut jobs = jobs();
    for job in [planned, left_out] {
        let job = jobs.get_mut(job).unwrap();
        job.priority = 3;
        job.deadline = crate::parse::clock::date_time("2027-04-19 12:00").ok();
    }
    let page = words(&plan(), &jobs, &[], &[]);
    for part in [
        "NOT PLANNED: County notice, Mill lane (due Mon 19 Apr 12:00)",
        "Due Mon 19 Apr 12:00 by county notice: First cut, Bluestem done by 10:55, 22 h 55 TOO LATE",
    ] {
        assert!(page.contains(part), "missing {part:?} in {page}");
    }
    for job in [planned, left_out] {
        jobs.get_mut(job).unwrap().state = JobState::Done.into();
    }
    let page = words(&plan(), &jobs, &[], &[]);
    assert!(!page.contains("19 Apr"), "{page}");
}

#[test]
fn a_re_plan_is_offered_for_the_plans_own_day_while_crews_go_by_it() {
    let mut plan = plan();
    plan.crew_days[0]
        .load_out
        .push("branches/north/units/b-2".into());
    let offered = |plan: &Plan| words(plan, &jobs(), &tags(), &[]).contains("forenoon replan");
    let page = words(&plan, &jobs(), &tags(), &[]);
    assert!(
        page.contains("re-plan: forenoon replan 2027-04-20 --cause \"t-7\""),
        "{page}"
    );
    // It can be copied as it stands, however narrow the screen.
    let page = stripped_at(72, &plan, &tags(), &[]);
    let command = "forenoon replan 2027-04-20 --cause \"t-7\"";
    assert!(page.lines().any(|line| line.trim() == command), "{page}");
    plan.state = PlanState::Draft.into();
    assert!(!offered(&plan), "a draft is planned again");
    plan.state = PlanState::Published.into();
    plan.day.as_mut().unwrap().day = 19;
    assert!(!offered(&plan), "the day is over");
}

#[test]
fn a_plan_published_the_evening_before_says_so() {
    let mut plan = plan();
    plan.publish_time = Some("2027-04-19T23:05:00Z".parse().unwrap());
    let page = words(&plan, &jobs(), &[], &[]);
    assert!(
        page.contains("revision 2, published Mon 19 Apr 18:05"),
        "{page}"
    );
}

#[test]
fn reports_show_how_far_the_day_has_come() {
    let page = stripped(&plan(), &[], &visits());
    assert!(page.contains("1 done, 1 under way"), "{page}");
    assert!(page.contains("07:05-08:00 done Alder house"), "{page}");
    assert!(page.contains("08:30-10:55 at it Weld lot"), "{page}");
}

#[test]
fn a_deadline_missed_by_seconds_is_missed() {
    for (seconds, words) in [
        (-45, "0 min to spare"),
        (0, "0 min to spare"),
        (45, "1 min TOO LATE"),
        (60, "1 min TOO LATE"),
        (61, "2 min TOO LATE"),
    ] {
        let mut plan = plan();
        // Due at 12:00.
        let mut finish = at("12:00").unwrap();
        finish.seconds += seconds;
        plan.crew_days[0].stops[1].finish_time = Some(finish);
        let page = stripped(&plan, &[], &[]);
        let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(page.contains(words), "{seconds} s:\n{page}");
    }
}

/// The visit to the Weld lot given up at 9:10.
fn given_up() -> Visit {
    Visit {
        finish_time: at("9:10"),
        state: VisitState::NotDone.into(),
        not_done_reason: "gate locked".into(),
        ..visits().remove(1)
    }
}

/// The states of the stops and jobs, as scripts get them.
fn states(plan: &Plan, visits: &[Visit]) -> Vec<String> {
    let jobs = jobs();
    let day = Day {
        plan,
        jobs: &jobs,
        tag_outs: &[],
        visits,
        clock: CLOCK,
        today: today(),
    };
    let state = |row: Vec<String>| row[11].clone();
    grid(&day).rows.into_iter().map(state).collect()
}

#[test]
fn what_was_given_up_is_not_done() {
    let visits = [visits().remove(0), given_up()];
    let page = stripped(&plan(), &[], &visits);
    assert!(page.contains("1 done, 0 under way, 1 not done\n"), "{page}");
    assert!(page.contains("08:30-10:55 not done Weld lot"), "{page}");
    let states = states(&plan(), &visits);
    assert_eq!(states[..3], ["done", "not-done", "planned"]);
}

#[test]
fn the_last_attempt_at_a_job_tells_how_far_it_has_come() {
    let again = |state: VisitState| Visit {
        state: state.into(),
        start_time: at("9:30"),
        attempt: 2,
        ..visits().remove(1)
    };
    for (state, words, mark) in [
        (
            VisitState::UnderWay,
            "0 done, 1 under way\n",
            "at it Weld lot",
        ),
        (VisitState::Done, "1 done, 0 under way\n", "done Weld lot"),
    ] {
        // A late report of the first attempt may stand after the second.
        for visits in [[given_up(), again(state)], [again(state), given_up()]] {
            let page = stripped(&plan(), &[], &visits);
            assert!(page.contains(words), "{page}");
            assert!(page.contains(&format!("08:30-10:55 {mark}")), "{page}");
        }
    }
}

#[test]
fn what_is_handed_over_waits_for_the_other_crew() {
    let mut plan = plan();
    let stop = plan.crew_days[0].stops.remove(1);
    plan.crew_days[1].stops.push(stop);
    let page = stripped(&plan, &[], &[given_up()]);
    assert!(page.contains("0 done, 0 under way\n"), "{page}");
    assert!(page.contains("08:30-10:55 Weld lot"), "{page}");
    assert_eq!(states(&plan, &[given_up()])[2], "planned");
}

#[test]
fn no_line_is_wider_than_the_screen() {
    let mut long = plan();
    long.state = PlanState::Draft.into();
    let crew = &mut long.crew_days[0];
    crew.crew_display_name = "Bluestem and the two apprentices from the yard at Mill Road".into();
    // Longer than quarters of an hour have room for.
    crew.return_time = at("18:40");
    long.unplanned_jobs[0].job_display_name =
        "County notice about the overgrown strip along Mill lane and the old railway".into();
    for plan in [plan(), long] {
        for visits in [Vec::new(), visits(), vec![given_up()]] {
            for width in 72..=100 {
                let page = stripped_at(width, &plan, &tags(), &visits);
                let wide = page.lines().find(|line| line.chars().count() > width);
                assert_eq!(wide, None, "{width} columns:\n{page}");
            }
        }
    }
    let page = stripped_at(72, &plan(), &[], &visits());
    assert!(
        page.contains("07:05-08:00 done Alder house     edge, mow…"),
        "{page}"
    );
}

#[test]
fn scripts_get_a_row_for_each_stop_and_each_job_without() {
    let (plan, jobs) = (plan(), jobs());
    let day = Day {
        plan: &plan,
        jobs: &jobs,
        tag_outs: &[],
        visits: &visits(),
        clock: CLOCK,
        today: today(),
    };
    let lines = grid(&day).plain();
    let rows: Vec<&str> = lines.lines().collect();
    assert_eq!(rows.len(), 5);
    assert_eq!(
        rows[0],
        "bluestem\t1\tj-alder\talder-house\t2027-04-20T07:05:00-05:00\t2027-04-20T07:05:00-05:00\t\
         2027-04-20T08:00:00-05:00\t15\t65\tedge, mow, blow off\tm-36\tdone\t"
    );
    assert_eq!(
        rows[3],
        "\t\tj-notice\t\t\t\t\t\t\t\t\tunplanned\tunit-tagged-out"
    );
}

#[test]
fn an_empty_day_has_a_page_too() {
    let plan = Plan::default();
    let page = stripped(&plan, &[], &[]);
    assert!(page.contains("CREWS"), "{page}");
}

#[test]
fn a_call_stands_between_the_stops() {
    let mut plan = plan();
    plan.crew_days[0].yard_calls = vec![YardCall {
        arrive_time: at("8:10"),
        leave_time: at("8:20"),
        load: vec!["branches/b/units/b-1".into()],
        unload: vec!["branches/b/units/m-36".into()],
        ..YardCall::default()
    }];
    let page = stripped(&plan, &[], &[]);
    let lines: Vec<&str> = page.lines().collect();
    let call = "   08:10-08:20 at the yard: take b-1; put down m-36";
    let at = lines
        .iter()
        .position(|line| *line == call)
        .expect("the call");
    assert!(lines[at - 1].contains("Alder house"), "{page}");
    assert!(lines[at + 1].contains("Weld lot"), "{page}");
}

#[test]
fn a_break_stands_between_the_stops() {
    let mut plan = plan();
    plan.crew_days[0].breaks = vec![CrewBreak {
        start_time: at("8:05"),
        end_time: at("8:35"),
    }];
    let page = stripped(&plan, &[], &[]);
    let lines: Vec<&str> = page.lines().collect();
    let pause = lines
        .iter()
        .position(|line| *line == "   08:05-08:35 break");
    let pause = pause.expect("the break");
    assert!(lines[pause - 1].contains("Alder house"), "{page}");
    assert!(lines[pause + 1].contains("Weld lot"), "{page}");
}

#[test]
fn a_shared_unit_says_from_whom_and_to_whom_it_goes() {
    let mut plan = plan();
    plan.crew_days[0].shared_units = vec![SharedUnit {
        unit: "branches/b/units/b-1".into(),
        from_crew: "branches/b/crews/indigo".into(),
        from_time: at("8:10"),
        to_crew: "branches/b/crews/yarrow".into(),
        until_time: at("9:40"),
    }];
    let page = stripped(&plan, &[], &[]);
    let line = "   shared: b-1 from 08:10, after indigo; until 09:40, then yarrow";
    assert!(page.lines().any(|known| known == line), "{page}");
}
