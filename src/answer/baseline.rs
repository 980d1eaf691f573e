//! An engine's own health: one build of it, run again and again.

use serde::Serialize;

/// The same build together once, in one session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BaselineUnit {
    /// The session.
    pub session: String,
    /// Its day.
    pub on: Option<String>,
    /// Which time the parts were together.
    pub fit_up: Option<u32>,
    /// The pulls that count, in order.
    pub pulls: Vec<String>,
    /// Their mean.
    pub mean: f64,
    /// Half the width of its interval of 95 %, by the scatter from pull to pull; none of a single pull alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub half_width: Option<f64>,
    /// Against the first, in per cent.
    pub change_percent: f64,
}

/// How the figure moves over time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BaselineTrend {
    /// What it moves by in thirty days.
    pub per_30_days: f64,
    /// Lower end of its interval of 95 %.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
    /// How many times together it rests on.
    pub units: usize,
    /// Whether the interval leaves out no change at all.
    pub shown: bool,
}

/// One reading of a figure that tells of the engine's health.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HealthReading {
    /// The day.
    pub on: Option<String>,
    /// What was read.
    pub text: String,
    /// Where it stands: the part's state, or the pull.
    pub at: String,
}

/// A figure that tells of the engine's health, in order of time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HealthFigure {
    /// The trade's name.
    pub title: String,
    /// The readings.
    pub readings: Vec<HealthReading>,
}

/// The answer of `trail --baseline`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BaselineAnswer {
    /// The engine.
    pub engine: String,
    /// The build that is followed.
    pub build: String,
    /// Other builds of the engine that have pulls.
    pub others: Vec<String>,
    /// What is followed, in words.
    pub figure: String,
    /// What torque and power were brought to.
    pub correction: String,
    /// The unit of the figures.
    pub unit: String,
    /// Each time together, in order of time.
    pub units: Vec<BaselineUnit>,
    /// The trend; none where too few times together tell none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<BaselineTrend>,
    /// Why there is no trend.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub no_trend: Option<String>,
    /// Leak-down, cranking pressure and the like, where they were kept.
    pub health: Vec<HealthFigure>,
    /// Pulls left out, with the reason.
    pub left_out: Vec<String>,
    /// What the pulls rest on that proved doubtful.
    pub doubts: Vec<String>,
    /// Files with edits that are not kept and would change the answer.
    pub pending: Vec<String>,
    /// The commit that was read.
    pub commit: String,
    /// What to do next.
    pub next: String,
}
