//! `sheet`.

use clap::Args;

use crate::cli::DAMAGED;
use crate::cli::Said;
use crate::cli::Surroundings;
use crate::cli::as_of::AsOfArgs;
use crate::render;
use crate::workflow::AsOf;
use crate::workflow::Failure;
use crate::workflow::sheet;
use crate::workflow::sheet::Laid;
use crate::workflow::sheet::SheetRequest;
use crate::workflow::sheet_learned;

/// See the sheet of a build, a pull or a flow test: every part, figure, setting and fit, and what follows from them
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  mulebook sheet b3           the build, its derived figures and its pulls\n  mulebook sheet 0412a-07     what was on for this pull, with its weather\n  mulebook sheet              of the last pull\n  mulebook sheet b3 --speed 8500rpm --crank 20,74\n                              where the piston stands and how it moves\n  mulebook sheet 0412a-07 --known-on 2026-04-20 --then-and-now\n                              what was known on that day, and what has been learned since\n  mulebook sheet h2a-in2-1    a flow sheet: coefficients, flow of standard air, means over lift"
)]
pub(super) struct Sheet {
    /// A build, a flow sheet, or a pull's id, its beginning, an order number of the newest session, or `last`
    #[arg(default_value = "last")]
    about: String,
    /// Engine speed for figures of the moving piston; the end of the sweep unless said
    #[arg(long, value_name = "SPEED")]
    speed: Option<String>,
    /// Crank angles after top dead centre, in degrees, at which to tell where the piston stands and how it moves
    #[arg(long, value_name = "DEGREES", value_delimiter = ',', allow_negative_numbers = true, value_parser = crank_angle)]
    crank: Vec<f64>,
    /// Distance of the rows of figures by speed, in rpm
    #[arg(long, value_name = "RPM", default_value_t = 500, value_parser = clap::value_parser!(u32).range(100..=5000))]
    step: u32,
    /// Of a flow sheet: the test pressure to bring its flows to (28 inH2O); its own unless said
    #[arg(long, value_name = "PRESSURE")]
    at_pressure: Option<String>,
    /// Of a flow sheet: the range of lifts that means are taken over ("2 mm..10 mm"); all of them unless said
    #[arg(long, value_name = "FROM..TO")]
    lifts: Option<String>,
    #[command(flatten)]
    as_of: AsOfArgs,
    /// Tell as well what has been learned since that day, or since it was first written down
    #[arg(long, conflicts_with = "pending")]
    then_and_now: bool,
}

/// An angle of the crank within the two turns of a cycle.
fn crank_angle(text: &str) -> Result<f64, String> {
    let angle: f64 = text.trim().parse().map_err(|_| "this is no number of degrees".to_owned())?;
    if (-720.0..=720.0).contains(&angle) { Ok(angle) } else { Err("it lies from -720 to 720".to_owned()) }
}

impl Sheet {
    pub(super) fn run(self, surroundings: &Surroundings) -> Result<Said, Failure> {
        let book = surroundings.book()?;
        let as_of = match self.as_of.as_of() {
            AsOf::Present if self.then_and_now => sheet_learned::first_known(&book, &self.about)?,
            as_of => as_of,
        };
        let known = as_of.known(&book)?;
        let request = SheetRequest {
            about: self.about,
            speed: self.speed,
            crank_deg: self.crank,
            step_rpm: self.step,
            at_pressure: self.at_pressure,
            lifts: self.lifts,
            then_and_now: self.then_and_now,
            as_of,
        };
        let (known, look) = (known.as_ref(), surroundings.look());
        Ok(match sheet::sheet(&book, &request)? {
            Laid::Side(answer) => {
                let said = Said::known(known, look, &render::sheet(&answer, look), ("sheet", &*answer));
                said.ending(if answer.is_damaged() { DAMAGED } else { 0 })
            }
            Laid::Flow(answer) => {
                let said =
                    Said::known(known, look, &render::flow_sheet(&answer, look), ("flow-sheet", &*answer));
                said.ending(if answer.is_damaged() { DAMAGED } else { 0 })
            }
        })
    }
}
