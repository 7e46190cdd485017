//! `branch`: yards and their rules.

use std::path::PathBuf;

use clap::Subcommand;
use forenoon_proto::google::r#type::{LatLng, Money};
use forenoon_proto::v1;

use super::cells::word;
use super::hazard::point;
use super::transfer;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{branch as branch_name, id, request_id};
use crate::output::records::{branch as one, branches};
use crate::parse::money::money;

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// List branches
    List,
    /// Show one
    Show {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
    },
    /// Create one
    #[command(
        after_help = "Example:\n  forenoon branch create north --name \"Larkmoor Grounds, north yard\" \\\n      \
                            --time-zone America/Chicago --currency USD --units us-customary \\\n      \
                            --yard 41.5412,-90.5101 --labour-per-hour 24 --margin-percent 15"
    )]
    Create {
        /// Its id: a lower-case letter, then letters, digits or hyphens
        #[arg(value_name = "ID")]
        id: String,
        #[command(flatten)]
        settings: Settings,
    },
    /// Change settings of one
    #[command(
        after_help = "Example:\n  forenoon branch set north --road-factor 1.35 --minimum-charge 45\n  \
                        forenoon branch set north --hearing-protection 18 --plan-within-limits true"
    )]
    Set {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
        #[command(flatten)]
        settings: Settings,
    },
    /// Remove one that owns nothing
    Remove {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
    },
    /// Write all of one into a file of JSON lines
    #[command(after_help = "Example:\n  forenoon branch export north north.jsonl")]
    Export {
        /// Its id
        #[arg(value_name = "ID")]
        id: String,
        /// The file to write; it must not be there
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Bring one in from a file that was exported: all of it, or nothing
    #[command(after_help = "Example:\n  forenoon branch import north.jsonl")]
    Import {
        /// The file
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

/// A branch's settings; those not given stay as they are.
#[derive(Debug, clap::Args)]
pub struct Settings {
    /// Name on screens and sheets
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// IANA time zone, as America/Chicago
    #[arg(long, value_name = "ZONE")]
    time_zone: Option<String>,
    /// ISO 4217 currency code, as USD
    #[arg(long, value_name = "CODE")]
    currency: Option<String>,
    /// Units of measure in answers: si or us-customary
    #[arg(long, value_name = "UNITS", value_parser = word::<v1::UnitSystem>)]
    units: Option<v1::UnitSystem>,
    /// Where crews start and end and machines are kept
    #[arg(long, value_name = "LATITUDE,LONGITUDE", value_parser = point, allow_hyphen_values = true)]
    yard: Option<LatLng>,
    /// Road distance over great-circle distance, 1.0 to 5.0
    #[arg(long, value_name = "FACTOR")]
    road_factor: Option<f64>,
    /// Driving speed of truck and trailer, km/h
    #[arg(long, value_name = "SPEED")]
    kilometres_per_hour: Option<f64>,
    /// Seconds added to every drive for parking and unloading
    #[arg(long, value_name = "SECONDS")]
    seconds_per_stop: Option<i32>,
    /// Cost of one worker for an hour
    #[arg(long, value_name = "AMOUNT")]
    labour_per_hour: Option<String>,
    /// Overhead on labour and machines, percent
    #[arg(long, value_name = "PERCENT", value_parser = basis_points)]
    overhead_percent: Option<i32>,
    /// Margin on the price, percent
    #[arg(long, value_name = "PERCENT", value_parser = basis_points)]
    margin_percent: Option<i32>,
    /// Least price of a visit
    #[arg(long, value_name = "AMOUNT")]
    minimum_charge: Option<String>,
    /// Cost of getting rid of one bag
    #[arg(long, value_name = "AMOUNT")]
    disposal_per_bag: Option<String>,
    #[command(flatten)]
    exposure: ExposureSettings,
}

/// What a branch plans its people's exposure by; figures inform, they certify nothing.
#[derive(Debug, clap::Args)]
pub(super) struct ExposureSettings {
    /// How the dose of noise is reckoned: regulation (90 dBA, 5 dB) or recommendation (85 dBA, 3 dB)
    #[arg(long, value_name = "CRITERION", value_parser = word::<v1::NoiseCriterion>)]
    noise_criterion: Option<v1::NoiseCriterion>,
    /// Dose of noise from which to act, percent of the criterion's day
    #[arg(long, value_name = "PERCENT")]
    noise_action: Option<f64>,
    /// Dose of noise not to exceed, percent of the criterion's day
    #[arg(long, value_name = "PERCENT")]
    noise_limit: Option<f64>,
    /// What hearing protection takes off as it is worn, dB
    #[arg(long, value_name = "DECIBELS")]
    hearing_protection: Option<f64>,
    /// Daily hand-arm vibration A(8) from which to act, m/s2
    #[arg(long, value_name = "ACCELERATION")]
    vibration_action: Option<f64>,
    /// Daily hand-arm vibration A(8) not to exceed, m/s2
    #[arg(long, value_name = "ACCELERATION")]
    vibration_limit: Option<f64>,
    /// Whether plans weigh a crew's day that is over a limit: true or false
    #[arg(long, value_name = "BOOL")]
    plan_within_limits: Option<bool>,
}

impl ExposureSettings {
    fn apply(self, fields: &mut Vec<String>, branch: &mut v1::Branch) {
        let mut rule = branch.exposure.unwrap_or_default();
        let mut slots = 0;
        let mut set = |given: Option<f64>, slot: &mut f64| {
            if let Some(value) = given {
                *slot = value;
                slots += 1;
            }
        };
        set(self.noise_action, &mut rule.noise_action_percent);
        set(self.noise_limit, &mut rule.noise_limit_percent);
        set(
            self.hearing_protection,
            &mut rule.hearing_protection_decibels,
        );
        set(self.vibration_action, &mut rule.vibration_action);
        set(self.vibration_limit, &mut rule.vibration_limit);
        if let Some(criterion) = self.noise_criterion {
            rule.noise_criterion = criterion.into();
            slots += 1;
        }
        if let Some(weighed) = self.plan_within_limits {
            rule.plan_within_limits = weighed;
            slots += 1;
        }
        if slots > 0 {
            branch.exposure = Some(rule);
            fields.push("exposure".to_owned());
        }
    }
}

/// Reads percent with at most two digits after the point as hundredths of a percent.
fn basis_points(text: &str) -> Result<i32, String> {
    use rust_decimal::prelude::ToPrimitive;
    let percent: rust_decimal::Decimal = text
        .trim()
        .trim_end_matches('%')
        .trim_end()
        .parse()
        .map_err(|_| format!("\"{text}\" is not a percentage; write it like 15 or 12.5"))?;
    let points = percent
        .checked_mul(100.into())
        .filter(|points| points.fract().is_zero());
    points
        .and_then(|points| points.to_i32())
        .ok_or_else(|| format!("\"{text}\" is finer than a hundredth of a percent, or too large"))
}

pub(super) async fn run(desk: &Desk, verb: Verb) -> Result<(), Failure> {
    let link = &desk.link;
    let branch = match verb {
        Verb::List => {
            let branches_found = link
                .all_branches(v1::ListBranchesRequest::default())
                .await?;
            let grid = branches(&branches_found);
            let answer = v1::ListBranchesResponse {
                branches: branches_found,
                next_page_token: String::new(),
            };
            return desk.screen.grid(&answer, &grid);
        }
        Verb::Show { id } => get(desk, &id).await?,
        Verb::Create { id, settings } => {
            let mut branch = v1::Branch::default();
            settings.apply(&mut branch)?;
            let request = v1::CreateBranchRequest {
                branch_id: id,
                branch: Some(branch),
                request_id: request_id(),
            };
            link.create_branch(request)
                .await?
                .branch
                .unwrap_or_default()
        }
        Verb::Set { id, settings } => {
            let mut branch = get(desk, &id).await?;
            let paths = settings.apply(&mut branch)?;
            if paths.is_empty() {
                return Err(Failure::Usage(
                    "no setting is given; --help lists them".to_owned(),
                ));
            }
            let request = v1::UpdateBranchRequest {
                branch: Some(branch),
                update_mask: Some(prost_types::FieldMask { paths }),
                request_id: request_id(),
            };
            link.update_branch(request)
                .await?
                .branch
                .unwrap_or_default()
        }
        Verb::Remove { id: gone } => {
            let request = v1::DeleteBranchRequest {
                name: branch_name(&gone),
                etag: String::new(),
                request_id: request_id(),
            };
            link.delete_branch(request).await?;
            desk.screen.say(&format!("{} removed", id(&gone)));
            return Ok(());
        }
        Verb::Export { id, file } => return transfer::export(desk, &id, &file).await,
        Verb::Import { file } => return transfer::import(desk, &file).await,
    };
    desk.screen.grid(&branch, &one(&branch))
}

async fn get(desk: &Desk, id: &str) -> Result<v1::Branch, Failure> {
    let request = v1::GetBranchRequest {
        name: branch_name(id),
    };
    Ok(desk
        .link
        .get_branch(request)
        .await?
        .branch
        .unwrap_or_default())
}

impl Settings {
    /// Puts the settings given into a branch, and tells which fields they are in.
    fn apply(self, branch: &mut v1::Branch) -> Result<Vec<String>, Failure> {
        let mut fields = Vec::new();
        put(
            &mut fields,
            "display_name",
            self.name,
            &mut branch.display_name,
        );
        put(
            &mut fields,
            "time_zone",
            self.time_zone,
            &mut branch.time_zone,
        );
        put(
            &mut fields,
            "currency_code",
            self.currency,
            &mut branch.currency_code,
        );
        put(
            &mut fields,
            "unit_system",
            self.units.map(Into::into),
            &mut branch.unit_system,
        );
        put(&mut fields, "yard", self.yard.map(Some), &mut branch.yard);

        let mut travel = branch.travel.unwrap_or_default();
        put(
            &mut fields,
            "travel",
            self.road_factor,
            &mut travel.road_factor,
        );
        put(
            &mut fields,
            "travel",
            self.kilometres_per_hour,
            &mut travel.kilometres_per_hour,
        );
        put(
            &mut fields,
            "travel",
            self.seconds_per_stop,
            &mut travel.seconds_per_stop,
        );
        if fields.iter().any(|field| field == "travel") {
            branch.travel = Some(travel);
        }

        let mut price = branch.price.clone().unwrap_or_default();
        let currency = branch.currency_code.clone();
        let amount = |text: Option<String>| -> Result<Option<Option<Money>>, Failure> {
            Ok(text
                .map(|text| money(&text, &currency))
                .transpose()?
                .map(Some))
        };
        put(
            &mut fields,
            "price",
            amount(self.labour_per_hour)?,
            &mut price.labour_per_hour,
        );
        put(
            &mut fields,
            "price",
            self.overhead_percent,
            &mut price.overhead_basis_points,
        );
        put(
            &mut fields,
            "price",
            self.margin_percent,
            &mut price.margin_basis_points,
        );
        put(
            &mut fields,
            "price",
            amount(self.minimum_charge)?,
            &mut price.minimum_charge,
        );
        put(
            &mut fields,
            "price",
            amount(self.disposal_per_bag)?,
            &mut price.disposal_per_bag,
        );
        if fields.iter().any(|field| field == "price") {
            branch.price = Some(price);
        }
        self.exposure.apply(&mut fields, branch);
        fields.dedup();
        Ok(fields)
    }
}

/// Puts a setting into its place where it is given, and keeps the name of the field that holds it.
fn put<T>(fields: &mut Vec<String>, field: &str, given: Option<T>, slot: &mut T) {
    if let Some(value) = given {
        *slot = value;
        fields.push(field.to_owned());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percents_become_hundredths_of_a_percent() {
        assert_eq!(basis_points("15"), Ok(1500));
        assert_eq!(basis_points("12.5 %"), Ok(1250));
        assert!(basis_points("1.234").is_err());
        assert!(basis_points("much").is_err());
        assert!(basis_points("99999999999").is_err());
    }
}
