//! `tag-out`: out of service, from this second on.

use forenoon_proto::v1;

use super::cells::word;
use crate::desk::{BranchDesk, Desk};
use crate::failure::Failure;
use crate::names::{Collection, id, plan_day, request_id};
use crate::output::bench::{grid, page};
use crate::output::clock::Times;
use crate::output::paint;

/// How `tag-out` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "From the moment the tag is accepted the unit is in no plan, until a mechanic releases it. A unit that is tagged\n\
                        for some kinds of work alone and got worse is tagged once more, without --forbid or with what else it must\n\
                        not do: its tag is raised.\n\n\
                        Examples:\n  forenoon tag-out m-36 --symptom vibration --by ada\n  \
                        forenoon tag-out m-36 --symptom other --note \"smells of fuel\" --by ada --job j-weld\n  \
                        forenoon tag-out m-60 --symptom power-loss --forbid knock-down,cut-brush --by bo"
)]
pub struct Args {
    /// The unit, by id
    #[arg(value_name = "UNIT")]
    unit: String,
    /// What was seen, heard or smelt: no-start, power-loss, vibration, leak, guard, cutting-part, running-gear,
    /// overheating or other
    #[arg(long, short, value_name = "SYMPTOM", value_parser = word::<v1::Symptom>)]
    symptom: v1::Symptom,
    /// Who found it, a worker's id
    #[arg(long, value_name = "WORKER")]
    by: String,
    /// What it must not do, where it may still do other work: kinds of work, separated by commas
    #[arg(long, value_name = "KINDS", value_delimiter = ',', value_parser = word::<v1::TaskKind>)]
    forbid: Vec<v1::TaskKind>,
    /// The same in words
    #[arg(
        long,
        short,
        value_name = "WORDS",
        default_value = "",
        hide_default_value = true
    )]
    note: String,
    /// At which job, by id
    #[arg(
        long,
        value_name = "JOB",
        default_value = "",
        hide_default_value = true
    )]
    job: String,
    /// Whom to ask about it, where not the finder
    #[arg(long, value_name = "NAME")]
    ask: Option<String>,
    /// How to reach them
    #[arg(long, value_name = "NUMBER", requires = "ask")]
    phone: Option<String>,
}

pub(super) async fn run(desk: &Desk, args: Args) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let contact = args.ask.map(|display_name| v1::Contact {
        display_name,
        phone: args.phone.unwrap_or_default(),
        email: String::new(),
    });
    let request = v1::TagOutRequest {
        parent: desk.parent(),
        tag_out: Some(v1::TagOut {
            unit: desk.name(Collection::Units, &args.unit),
            symptom: args.symptom.into(),
            description: args.note,
            severity: if args.forbid.is_empty() {
                v1::Severity::Unsafe
            } else {
                v1::Severity::Reduced
            }
            .into(),
            forbidden_tasks: args.forbid.into_iter().map(Into::into).collect(),
            found_by: desk.name(Collection::Workers, &args.by),
            job: desk.name(Collection::Jobs, &args.job),
            contact,
            ..v1::TagOut::default()
        }),
        request_id: request_id(),
    };
    let answer = desk.link.tag_out(request).await?;
    let tag = answer.tag_out.clone().unwrap_or_default();
    desk.screen.answer(
        &answer,
        || grid(std::slice::from_ref(&tag), desk.times(Times::Days)),
        |width| {
            format!(
                "{}{}",
                page(&tag, &[], desk.clock, width),
                consequences(&desk, &tag, &answer.affected_plans)
            )
        },
    )
}

/// How `print-tag` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "A sheet of A6, SVG.\n\nExamples:\n  forenoon print-tag t-42 > t-42.svg\n  \
                        forenoon print-tag t-42 --to t-42.svg"
)]
pub struct PrintArgs {
    /// The tag, by its number
    #[arg(value_name = "TAG")]
    tag: String,
    /// The file to write [default: standard output]
    #[arg(long, value_name = "FILE")]
    to: Option<std::path::PathBuf>,
}

pub(super) async fn print(desk: &Desk, args: &PrintArgs) -> Result<(), Failure> {
    let desk = desk.at_branch().await?;
    let request = v1::RenderTagOutRequest {
        name: desk.name(Collection::TagOuts, &args.tag),
    };
    let svg = desk.link.render_tag_out(request).await?.svg;
    let Some(path) = &args.to else {
        return desk.screen.print(&svg);
    };
    std::fs::write(path, svg).map_err(|error| Failure::File {
        path: path.display().to_string(),
        cause: error.to_string(),
    })
}

/// What to do now: the number for the paper tag, and the plans that want a re-plan.
pub(super) fn consequences(desk: &BranchDesk, tag: &v1::TagOut, affected: &[String]) -> String {
    let number = id(&tag.name);
    let mut text = format!(
        "\nWrite {} on the paper tag and hang it on the unit, or print one: forenoon print-tag {number} --to tag.svg\n",
        paint::strong(number)
    );
    // A limited unit may go out; the plans that are told are those that want it for what it must not do.
    let how = match tag.severity() {
        v1::Severity::Reduced => "wants it for what it must not do",
        _ => "has it aboard",
    };
    if affected.is_empty() {
        crate::output::text::add(
            &mut text,
            format_args!("No published plan from today on {how}.\n"),
        );
    }
    for plan in affected {
        let day = plan_day(plan).unwrap_or(desk.today);
        crate::output::text::add(
            &mut text,
            format_args!(
                "Plan {} {how}: forenoon replan --day {day} --cause \"{number}\"\n",
                id(plan)
            ),
        );
    }
    text
}
